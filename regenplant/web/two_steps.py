"""Acts in two steps: what a number means is shown first, and only what was shown is written.

The page carries the shown value in a hidden field; when a person changes a field after looking and presses "Write it
down", the new meaning is shown instead of being written unseen.
"""

from __future__ import annotations

from django.http import HttpRequest


def mark_of(value: float) -> str:
    """The shown value as the page carries it."""
    return f"{value:.9g}"


def is_written(request: HttpRequest, value: float) -> bool:
    """Whether the person asked to write exactly what was shown."""
    return request.POST.get("act") == "write" and request.POST.get("shown") == mark_of(value)


def is_another(request: HttpRequest, value: float) -> bool:
    """Whether the person asked to write, but what it means is no longer what was shown."""
    return request.POST.get("act") == "write" and request.POST.get("shown") != mark_of(value)
