"""Views of the ageing of resin."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.core.process.resin_advice import PROMISE, Step
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality import services
from regenplant.quality.ageing import (
    LotAgeing,
    SideAgeing,
    ageing_of,
    ageing_of_many,
    lots_in_use,
    worst_first,
)
from regenplant.quality.models import ResinFigure, ResinOf
from regenplant.quality.trends import is_in_trends
from regenplant.recipes.models import Recipe
from regenplant.resins.models import ResinLot
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.ageing.forms import CapacityForm, CorrectFigureForm, LotLookForm, SampleForm
from regenplant.web.house_form import posted
from regenplant.web.listing import answer, chips
from regenplant.web.presenters import ageing as words
from regenplant.web.requests import person_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, sign
from regenplant.web.tables.ageing import AgeingTable


@require_safe
def overview(request: HttpRequest, tab: str) -> HttpResponse:
    """Every lot in use, worst first."""
    found = worst_first(ageing_of_many(list(lots_in_use()), timezone.now()))
    wanted = request.GET.get("advice", "")
    shown = [one for one in found if one.urgent.step.value == wanted] if wanted in set(Step) else found
    present = {one.urgent.step for one in found}
    context = {
        "sentence": words.overview_sentence(found),
        "chips": chips(
            request, "advice", [(step.value, step.label) for step in Step if step in present], "Every lot"
        ),
        "promise": PROMISE,
    }
    return answer(request, "resin_ageing/overview.html", AgeingTable(shown), "resin-ageing", context)


def _lot_or_404(code: str) -> ResinLot:
    lots = ResinLot.objects.select_related("resin_type__cation_type", "resin_type__anion_type")
    if "\x00" in code:
        raise Http404("There is no such lot.")
    lot: ResinLot = get_object_or_404(lots, code=code.upper())
    return lot


def _ageing_or_404(lot: ResinLot) -> LotAgeing:
    found = ageing_of(lot, timezone.now())
    if found is None:
        raise Http404(f"{lot.code} is carbon; it exchanges no ions.")
    return found


@require_safe
def lot_page(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    """One lot: what is believed and why, what may foul it, what is advised."""
    lot = _lot_or_404(code)
    found, system = _ageing_or_404(lot), unit_system_of(request)
    cycles, parts = words.loss_rows(found, system), words.part_rows(found, system)
    known = set(Recipe.objects.values_list("code", flat=True))
    context = {
        "lot": lot,
        "found": found,
        "heading": f"Ageing of {lot.code}",
        "sentence": "Scrapped; it never comes back." if lot.is_scrapped else words.lot_sentence(found),
        "off": "" if lot.is_scrapped else words.off_sentence(found),
        "in_use": words.in_use_words(found),
        "sides": [_side(found, side, system, known) for side in found.sides],
        "origins": words.origin_rows(found),
        "cycles": cycles,
        "parts": parts,
        "parts_sentence": words.parts_sentence(found, parts) if cycles else "",
        "has_catcher": any(row.catcher for row in cycles),
        "has_notes": any(row.note for row in cycles),
        "losses": words.losses_sentence(found),
        "volume_unit": units.unit_text("resin_volume", system),
        "looks": [(look, words.look_sentence(look)) for look in found.looks[:6]],
        "methods": words.method_rows(found),
        "promise": PROMISE,
        "is_in_trends": is_in_trends(lot.code),
        "may_test": right(request, "resin.test"),
        "may_look": right(request, "resin.look"),
        "capacity_right": right(request, "resin.capacity"),
    }
    return render(request, "resin_ageing/lot.html", context)


def _side(found: LotAgeing, side: SideAgeing, system: Any, known: set[str]) -> dict[str, Any]:
    return {
        "side": side,
        "title": side.type.code,
        "query": f"?resin={side.resin}" if side.resin else "",
        "advice": side.advice,
        "scene": words.chart_of(found, side),
        "basis": words.basis_rows(found, side),
        "widening": words.widening_words(side),
        "figures": words.figure_rows(side, system),
        "found": side.found,
        "suspects": [
            (
                one,
                "; ".join(words.rstrip(".") for words in one.because),
                [code for code in one.recipes if code in known],
            )
            for one in side.suspects
        ],
    }


def _resin_asked(request: HttpRequest, lot: ResinLot) -> tuple[str, ResinFamily]:
    """Which resin of the lot the page is about: of a mixed bed the one in the address, the anion resin where none is."""
    of = lot.resin_type
    if not ResinFamily(of.family).is_mixed:
        return "", ResinFamily(of.family)
    asked = request.GET.get("resin", ResinOf.ANION.value)
    side = of.cation_type if asked == ResinOf.CATION else of.anion_type
    if side is None:
        raise Http404(f"The two resins of {of.code} are not on record.")
    return (ResinOf.CATION.value if asked == ResinOf.CATION else ResinOf.ANION.value), ResinFamily(
        side.family
    )


def _about(lot: ResinLot, resin: str) -> str:
    return f"lot {lot.code}" + (f", its {ResinOf(resin).value} resin" if resin else "")


def _page_of(lot: ResinLot) -> str:
    return reverse("resin-ageing-lot", args=[lot.code])


@require_http_methods(["GET", "HEAD", "POST"])
def sample(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    """Write down a sample with the figures of the laboratory."""
    lot = _lot_or_404(code)
    resin, family = _resin_asked(request, lot)
    if family.is_exchanged:
        raise Http404(f"{lot.code} is carbon; it exchanges no ions.")
    system = unit_system_of(request)
    form = SampleForm(posted(request), system=system)
    act = Act(
        title=f"Sample of {_about(lot, resin)}",
        sentence="Figures as the report says them; what it does not give stays empty.",
        permission="resin.test",
        service=services.record_resin_sample,
        arguments=lambda: {
            "lot_id": lot.pk,
            "sample": form.sample(resin),
            "figures": form.figures(),
            "system": system,
        },
        said=lambda outcome: f"Written: sample {outcome.result.number} of {lot.code}.",
        then=lambda outcome: _page_of(lot),
        back_url=_page_of(lot),
        template="resin_ageing/sample.html",
    )
    return act_page(request, form, act, facts=words.lot_facts(lot))


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, code: str, figure_id: int, tab: str) -> HttpResponse:
    """Correct one figure of a sample."""
    lot = _lot_or_404(code)
    row: ResinFigure = get_object_or_404(
        ResinFigure.objects.select_related("sample__lot"), pk=min(figure_id, 2**62), sample__lot=lot
    )
    system = unit_system_of(request)
    form = CorrectFigureForm(posted(request), row=row, system=system)
    act = Act(
        title=f"Correct {form.about.label.lower()} of sample {row.sample.number}",
        sentence=f"Written by {row.entered_by.full_name}. The old figure stays readable in the record.",
        permission="resin.test",
        service=services.correct_resin_figure,
        arguments=lambda: {
            "figure_id": row.pk,
            "figure": form.figure(),
            "category": form.text("category"),
            "reason": form.text("reason"),
            "system": system,
        },
        said=lambda outcome: f"Corrected: {form.about.label.lower()} of sample {row.sample.number}.",
        then=lambda outcome: _page_of(lot),
        back_url=_page_of(lot),
        button="Correct it",
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def look(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    """Write down what is seen on a lot, and quick tests."""
    lot = _lot_or_404(code)
    resin, family = _resin_asked(request, lot)
    if family.is_exchanged:
        raise Http404(f"{lot.code} is carbon; it exchanges no ions.")
    form = LotLookForm(posted(request), family=family)
    act = Act(
        title=f"Look at {_about(lot, resin)}",
        sentence="What is seen leads to the quick test; the quick test decides, and a person.",
        permission="resin.look",
        service=services.look_at_lot,
        arguments=lambda: {"lot_id": lot.pk, "resin": resin, **form.arguments()},
        said=lambda outcome: f"Written: a look at {lot.code}.",
        then=lambda outcome: _page_of(lot),
        back_url=_page_of(lot),
        template="resin_ageing/look.html",
    )
    return act_page(request, form, act, facts=words.lot_facts(lot))


@require_http_methods(["GET", "HEAD", "POST"])
def capacity(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    """Set the factor that plans count with; the form begins with what the record proposes."""
    lot = _lot_or_404(code)
    found, system = _ageing_or_404(lot), unit_system_of(request)
    standing = found.set.number if found.set is not None else 0
    initial = {"version": standing, "factor": round(found.proposed.mean, 2)}
    form = CapacityForm(posted(request), initial=initial, system=system)
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.set_lot_capacity,
            meaning=services.CAPACITY_MEANING,
            about=("resin_lot", str(lot.pk), lot.code),
            lot_id=lot.pk,
            system=system,
            **form.arguments(),
        )
        if outcome is not None:
            factor = words.percent(outcome.result.factor)
            receipt(request, f"Signed: plans count with {factor} for {lot.code}.")
            return redirect(_page_of(lot))
    context = {
        "lot": lot,
        "form": form,
        "facts": words.capacity_facts(found),
        "person": person_of(request),
        "now": timezone.now(),
        "meaning": services.CAPACITY_MEANING,
        "refused": right(request, "resin.capacity").reason,
        "back_url": _page_of(lot),
    }
    return render(
        request, "resin_ageing/capacity.html", context, status=refused_status(form) if form.errors else 200
    )
