"""What is answered when nothing else can be: the database is away, or the program has a defect. Asks the database for nothing.

The framework comes here with whatever no view and no middleware caught, sessions and the frame of the page included, and writes
it to the log as an error with its origin.
"""

from __future__ import annotations

import sqlite3
import sys

from django.core.exceptions import SuspiciousOperation
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse, UnreadablePostError
from django.http.multipartparser import MultiPartParserError
from django.template.loader import render_to_string
from django.utils.cache import add_never_cache_headers
from django.views.defaults import bad_request, server_error

from regenplant.web import kept_forms

RETRY_AFTER_S = 60
AWAY = {
    "code": "database_away",
    "message": "The database of the record does not answer. Nothing half-written was kept. Ask again in a minute.",
}


def failed(request: HttpRequest) -> HttpResponse:
    """The answer to a request that ended in an exception: 503 while the database is away, else 500."""
    return away(request) if is_away(sys.exc_info()[1]) else server_error(request)


def refused(request: HttpRequest, exception: Exception) -> HttpResponse:
    """The answer to what the framework calls a bad request.

    A session that could not be written because the database is away is among them: it is said to be deleted, which it is not.
    """
    return away(request) if is_away(exception) else bad_request(request, exception)


def is_away(error: BaseException | None) -> bool:
    """Whether this is a database that cannot be reached, is locked for too long, or cannot write, and no defect of the program.

    SQLite also calls a table or a function that is missing an operational error: that is a defect, and is said as one.
    """
    while error is not None:
        if isinstance(error, (OperationalError, InterfaceError)):
            code = getattr(error.__cause__, "sqlite_errorcode", None)
            return code is None or code & 0xFF != sqlite3.SQLITE_ERROR
        error = error.__cause__ or error.__context__
    return False


def away(request: HttpRequest) -> HttpResponse:
    """503 with when to ask again: data for a program, else a page that a person can act on."""
    response: HttpResponse
    if _wants_data(request):
        response = JsonResponse({"error": AWAY}, status=503)
    else:
        context = {"was_sent": request.method not in ("GET", "HEAD"), "typed": _typed(request)}
        response = HttpResponse(render_to_string("503.html", context), status=503)
    response["Retry-After"] = str(RETRY_AFTER_S)
    add_never_cache_headers(response)
    return response


def _typed(request: HttpRequest) -> tuple[tuple[str, str], ...]:
    """What was sent, for copying it: nothing secret; nothing at all where it could not be read."""
    if request.method != "POST":
        return ()
    try:
        return kept_forms.keep(request, None).shown
    except (UnreadablePostError, SuspiciousOperation, MultiPartParserError):
        return ()


def _wants_data(request: HttpRequest) -> bool:
    return (
        request.path.endswith(".json")
        or request.path.startswith("/api/")
        or request.get_preferred_type(["text/html", "application/json"]) == "application/json"
    )
