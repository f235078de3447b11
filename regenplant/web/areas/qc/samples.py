"""The register of retained samples, the page of one, and its discard."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.plant.selectors import plant_day
from regenplant.quality import services
from regenplant.quality.models import RetainedSample
from regenplant.quality.retained import sample_numbered, sample_shelf
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.qc.way_forms import DiscardForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import qc_samples as words
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def register(request: HttpRequest, tab: str) -> HttpResponse:
    """What is due to be discarded, first; what still misses its sample; what is kept; what is gone."""
    shelf, system = sample_shelf(timezone.now()), unit_system_of(request)
    context = {
        "sentence": words.register_sentence(shelf),
        "missing": shelf.missing,
        "groups": words.groups(shelf, system),
        "keep": right(request, "qc.keep_sample"),
    }
    return render(request, "samples/register.html", context)


def _sample_or_404(number: str) -> RetainedSample:
    found = sample_numbered(number)
    if found is None:
        raise Http404(f"There is no sample {number}.")
    return found


@require_safe
def one(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """One sample: what it is, where it stands, and what became of it."""
    row = _sample_or_404(number)
    context = {
        "row": row,
        "sentence": words.sample_sentence(row, plant_day(timezone.now())),
        "facts": words.sample_facts(row, unit_system_of(request)),
        "gone": words.discard_facts(row),
        "discard": right(request, "qc.discard_sample", row.batch.segregation_class),
        "paper": right(request, "paper.issue"),
        "story": story([("retained_sample", row.number)], newest_first=True, limit=20),
    }
    return render(request, "samples/one.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def discard(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """A sample is kept no longer."""
    row = _sample_or_404(number)
    form = DiscardForm(posted(request))
    family = ResinFamily(row.batch.resin_type.family).label
    act = Act(
        title=f"Discard sample {row.number}",
        sentence=f"It is of batch {row.batch.number}, {family}, and kept until {row.keep_until}. Earlier only what is used up, lost or broken goes.",
        permission="qc.discard_sample",
        segregation_class=row.batch.segregation_class,
        service=services.discard_sample,
        arguments=lambda: {
            "sample_id": row.pk,
            "why": form.cleaned_data["why"],
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: sample {row.number} is discarded.",
        then=lambda outcome: reverse("samples"),
        back_url=reverse("samples-one", args=[row.number]),
        button="Discard it",
        is_stopping=True,
    )
    return act_page(request, form, act, facts=words.sample_facts(row, unit_system_of(request)))
