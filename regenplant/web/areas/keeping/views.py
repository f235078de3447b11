"""Views of complete copies."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.documents.selectors import copies_made, copy_with_digest
from regenplant.documents.services import BATCH_RECORD, CopiedBatch, copy_batch, issue_paper
from regenplant.keeping import verify_copy
from regenplant.keeping.reading import ReadCopy, read_copy
from regenplant.keeping.verify_copy import Unreadable
from regenplant.web.areas.batches.page import batch_or_404
from regenplant.web.areas.keeping.forms import CopyForm
from regenplant.web.house_form import posted
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def copy(request: HttpRequest, number: str) -> HttpResponse:
    """What a copy holds and which were made; a POST makes one and hands it out."""
    batch = batch_or_404(number)
    if request.method == "POST":
        return _handed_out(request, batch.pk, batch.number)
    context = {
        "batch": batch,
        "copies": copies_made(batch.number),
        "may_copy": right(request, "batch.copy"),
    }
    return render(request, "keeping/copy.html", context)


def _handed_out(request: HttpRequest, batch_id: int, number: str) -> HttpResponse:
    """Two acts: the record is printed, then it is copied with that print."""
    system = unit_system_of(request)
    size = "letter" if system == "us" else "a4"
    printed = issue_paper(by=by_of(request), kind=BATCH_RECORD, key=number, size=size, system=system).result
    made: CopiedBatch = copy_batch(by=by_of(request), batch_id=batch_id, document=printed).result
    response = HttpResponse(made.content, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="{made.file_name}"'
    return response


@require_safe
def digest(request: HttpRequest, number: str, act: int) -> HttpResponse:
    """The detached digest of a copy, to be handed on by another way than the copy itself."""
    batch = batch_or_404(number)
    found = next((one for one in copies_made(batch.number) if one.act == act), None)
    if found is None:
        raise Http404(f"Act {act} made no copy of {batch.number}.")
    response = HttpResponse(found.listing, content_type="text/plain; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{found.file_name}.sha256"'
    return response


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def read(request: HttpRequest) -> HttpResponse:
    """Read a copy from elsewhere. It is verified, shown and forgotten."""
    form = CopyForm(posted(request), request.FILES or None)
    shown: ReadCopy | None = None
    if request.method == "POST" and form.is_valid():
        try:
            shown = read_copy(form.cleaned_data["file"])
        except Unreadable as refusal:
            form.add_error("file", str(refusal))
    context: dict[str, Any] = {"form": form, "copy": shown}
    if shown is not None:
        context["made_here"] = copy_with_digest(shown.digest)
    return render(request, "keeping/read.html", context, status=422 if form.errors else 200)


@require_safe
def verifying(request: HttpRequest) -> HttpResponse:
    """How somebody who got a copy verifies it."""
    return render(request, "keeping/verifying.html", {"files": verify_copy.FILES})


@require_safe
def verifier(request: HttpRequest) -> HttpResponse:
    """The verifier alone, for those who would rather not take it out of the copy."""
    text = Path(verify_copy.__file__).read_text("utf-8")
    response = HttpResponse(text, content_type="text/x-python; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="verify_copy.py"'
    return response
