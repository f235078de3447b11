"""In front of the interface for programs: no session where a token speaks, and no text longer than a call may be."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse, JsonResponse

from regenplant.web.api.reading import LARGEST_BYTES

PREFIX = "/api/"
READINGS = "/api/readings/"


class ProgramMiddleware:
    """Stands before everything that looks at the session.

    Readings are taken by token alone, and whoever brings a token elsewhere is that token: a cookie sent along counts for
    nothing, so no page of another site can make a browser write readings.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.path_info.startswith(PREFIX):
            return self.get_response(request)
        if request.path_info == READINGS or "Authorization" in request.headers:
            request.user = AnonymousUser()
        if _length(request) > LARGEST_BYTES:
            return _too_large(_length(request))
        return self.get_response(request)


def _length(request: HttpRequest) -> int:
    """Bytes that were announced; the server reads no more than that."""
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0


def _too_large(length: int) -> HttpResponse:
    message = f"The call has {length} bytes, at most {LARGEST_BYTES}. Send fewer readings at once."
    return JsonResponse({"error": {"code": "too_large", "message": message, "flaws": []}}, status=413)
