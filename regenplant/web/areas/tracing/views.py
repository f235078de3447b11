"""Views of tracing: nothing is changed here, but a paper that is printed is an issue."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_safe
from django_tables2 import RequestConfig

from regenplant.core.errors import DomainError
from regenplant.documents.services import IssuedDocument, issue_paper
from regenplant.quality.investigation import USUAL_DAYS, Investigation, failed_lately, investigate
from regenplant.quality.tracing import trace_of
from regenplant.web.acting import attach
from regenplant.web.areas.tracing.forms import InvestigationForm, TraceForm
from regenplant.web.drawing.trace import trace_scene
from regenplant.web.listing import chips
from regenplant.web.presenters import review as review_words
from regenplant.web.presenters import tracing as words
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables import export
from regenplant.web.tables.tracing import RecallTable, RelatedTable

NO_FILES: tuple[str, ...] = ()
"""The recall list has a file at an address of its own."""


@require_safe
def start(request: HttpRequest, tab: str) -> HttpResponse:
    """Where an investigation and a trace begin."""
    return _start(request, InvestigationForm(initial={"days": USUAL_DAYS}), TraceForm(auto_id="trace_%s"))


def _start(
    request: HttpRequest, investigating: InvestigationForm, tracing: TraceForm, status: int = 200
) -> HttpResponse:
    system = unit_system_of(request)
    failed = [
        (review_words.failed_row(batch, system), words.investigation_url("batch", batch.number))
        for batch in failed_lately()
    ]
    context = {"form": investigating, "trace_form": tracing, "failed": failed}
    return render(request, "tracing/start.html", context, status=status)


def _asked(request: HttpRequest) -> tuple[InvestigationForm, Investigation | None]:
    """The form as it was sent, and what was found; None with the reason on the form."""
    form = InvestigationForm(request.GET)
    if not form.is_valid():
        return form, None
    try:
        found = investigate(form.text("kind"), form.text("code"), now=timezone.now(), days=form.window())
    except DomainError as refusal:
        attach(form, refusal)
        return form, None
    return form, found


@require_safe
def investigation(request: HttpRequest, tab: str) -> HttpResponse:
    """Every batch that shared something, why, and the tanks of the pool; the batches as a file when one is asked for."""
    form, found = _asked(request)
    if found is None:
        return _start(request, form, TraceForm(auto_id="trace_%s"), 422)
    thing = request.GET.get("share", "")
    table = RelatedTable(words.kept(found, thing))
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    name = f"investigation-{found.origin.code}".replace(" ", "-")
    return export.answer(request, table, name) or render(
        request, "tracing/investigation.html", _context(request, found, table)
    )


def _context(request: HttpRequest, found: Investigation, table: RelatedTable) -> dict[str, Any]:
    recall = RecallTable(found.recall, prefix="tanks-")
    recall.exports = NO_FILES
    RequestConfig(request, paginate={"per_page": 25}).configure(recall)
    asked = _address(found)
    return {
        "form": InvestigationForm(
            initial={"kind": found.origin.kind, "code": found.origin.code, "days": found.days}
        ),
        "found": found,
        "sentence": words.investigation_sentence(found),
        "window": words.window_words(found),
        "things": words.thing_rows(found),
        "chips": chips(request, "share", words.kinds_in(found), every="Anything"),
        "table": table,
        "recall": recall,
        "asked": asked,
        "trace_url": words.trace_url(found.origin.kind, found.origin.code)
        if found.origin.kind in ("batch", "resin_lot", "chemical_lot")
        else "",
        "paper": right(request, "paper.issue"),
    }


def _address(found: Investigation) -> str:
    """The parameters of this investigation."""
    return urlencode({"kind": found.origin.kind, "code": found.origin.code, "days": str(found.days)})


@require_safe
def recall(request: HttpRequest, tab: str) -> HttpResponse:
    """The recall list as a file."""
    form, found = _asked(request)
    if found is None:
        return _start(request, form, TraceForm(auto_id="trace_%s"), 422)
    table = RecallTable(found.recall)
    answer = export.answer(request, table, f"recall-{found.origin.code}".replace(" ", "-"))
    if answer is not None:
        return answer
    asked = _address(found)
    response = redirect("tracing-investigation")
    response["Location"] += f"?{asked}#recall"
    return response


@never_cache
@require_GET
def paper(request: HttpRequest, tab: str) -> HttpResponse:
    """The investigation as a paper: counted, hashed, written down as an act."""
    form, found = _asked(request)
    if found is None:
        return _start(request, form, TraceForm(auto_id="trace_%s"), 422)
    system = unit_system_of(request)
    size = request.GET.get("size", "") or ("letter" if system == "us" else "a4")
    key = f"{found.origin.kind}:{found.origin.code}:{found.days}"
    outcome = issue_paper(by=by_of(request), kind="investigation", key=key, size=size, system=system)
    document: IssuedDocument = outcome.result
    response = HttpResponse(document.content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{document.file_name}"'
    return response


@require_safe
def trace(request: HttpRequest, tab: str) -> HttpResponse:
    """The ways of one thing both ways, as a list and as a picture."""
    form = TraceForm(request.GET, auto_id="trace_%s")
    investigating = InvestigationForm(initial={"days": USUAL_DAYS})
    if not form.is_valid():
        return _start(request, investigating, form, 422)
    try:
        found = trace_of(form.text("kind"), form.text("code"))
    except DomainError as refusal:
        attach(form, refusal)
        return _start(request, investigating, form, 422)
    context = {
        "trace": found,
        "form": form,
        "sentence": words.trace_sentence(found),
        "scene": trace_scene(found) if found.nodes else None,
        "groups": words.trace_groups(found),
        "investigation_url": words.investigation_url(found.kind.value, found.code)
        if found.kind.value in ("batch", "resin_lot", "chemical_lot")
        else "",
    }
    return render(request, "tracing/trace.html", context)
