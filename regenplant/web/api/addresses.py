"""The addresses of the interface for programs. They answer a program themselves: 401 and no sign-in page."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern

from regenplant.web.api.endpoints import api


def _addresses() -> tuple[list[Any], str, str]:
    patterns, app_name, namespace = api.urls
    for pattern in patterns:
        if isinstance(pattern, URLPattern):
            pattern.callback.login_required = False  # type: ignore[attr-defined]
    return patterns, app_name, namespace


API_URLS = _addresses()
"""As ``path`` takes them; made once, because each making gives new views."""
