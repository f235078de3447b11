"""The state of the record: what stands, when it was looked at last, and a look at all of it now."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from regenplant.audit import chain
from regenplant.audit.selectors import chain_head, digests_of_acts, newest_act
from regenplant.audit.services import VERIFIED, note_verification
from regenplant.audit.verifying import registry
from regenplant.documents.selectors import count_of_papers, newest_papers
from regenplant.web.acting import active_words
from regenplant.web.areas.review.forms import HeadForm
from regenplant.web.presenters import record as words
from regenplant.web.requests import by_of

HERE = "[what was looked at stands here]"
"""Where the page is cut in two, so that what is looked at can be told line by line."""
PAPERS_SHOWN = 8


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def record(request: HttpRequest) -> HttpResponse | StreamingHttpResponse:
    """What stands; a POST looks at every record now, tells how far it is, and writes the result down as an act."""
    form = HeadForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        page = render_to_string("review/record.html", {**_context(form), "here": HERE}, request)
        answer = StreamingHttpResponse(_looking(request, page, str(form.cleaned_data["head"])))
        answer["X-Accel-Buffering"] = "no"  # a proxy that collects the page would hide how far it is
        return answer
    return render(request, "review/record.html", _context(form), status=422 if form.errors else 200)


def _context(form: HeadForm) -> dict[str, Any]:
    number, head = chain_head()
    last = newest_act(VERIFIED)
    sentence, held = words.last_looked(last)
    papers = newest_papers(PAPERS_SHOWN)
    return {
        "form": form,
        "sentence": words.record_sentence(number, head),
        "head": head,
        "last": sentence,
        "last_held": held,
        "last_findings": last.facts["facts"].get("findings", []) if last else [],
        "facts": words.looked_facts(last),
        "papers": words.paper_lines(papers, digests_of_acts(paper.chain_number for paper in papers)),
        "paper_count": count_of_papers(),
    }


def _looking(request: HttpRequest, page: str, head: str) -> Iterator[str]:
    """The page piece by piece: its beginning, a line for each check, the result, the rest."""
    begun, _, rest = page.partition(HERE)
    yield begun
    with active_words(request):
        for step in registry.steps():
            if step.report is not None:
                note_verification(by=by_of(request), report=step.report)
                yield render_to_string("review/_result.html", _result(step.report, head))
            elif step.looked is not None or step.seen:
                yield render_to_string("review/_looked.html", {"line": words.looked_line(step)})
    yield rest


def _result(report: registry.Report, head: str) -> dict[str, Any]:
    sentences = words.finding_sentences(report.findings)
    context: dict[str, Any] = {
        "result": words.verified_sentence(report),
        "findings": sentences[: words.MOST_SHOWN],
        "more": max(0, len(sentences) - words.MOST_SHOWN),
        "notices": [notice.sentence for notice in report.notices[: words.MOST_SHOWN]],
        "verified_at": timezone.now(),
    }
    if head:
        number = chain.stands(head)
        context |= {"head_result": words.head_sentence(head, number), "head_stands": number is not None}
    return context
