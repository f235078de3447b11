"""Spills: written down in two steps, held against the reportable quantity, followed up, closed."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.audit.selectors import story
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import Spill, SpillFigure
from regenplant.chemicals.reporting import threshold
from regenplant.chemicals.spills import newest_figure, spills, within_a_day
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.thresholds import CONFIRM, Counted, ThresholdKind
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.selectors import profile
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.chemicals import shown
from regenplant.web.areas.chemicals.safety_forms import (
    SpillAgainForm,
    SpillCloseForm,
    SpilledForm,
    SpillForm,
    SpillNoteForm,
)
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemical_safety import SpillTable
from regenplant.web.two_steps import is_another, is_written, mark_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def spill_list(request: HttpRequest) -> HttpResponse:
    open_now = Spill.objects.filter(state=Spill.State.OPEN).count()
    context = {
        "title": "Spills",
        "sentence": f"{open_now} open." if open_now else "No spill is open.",
        "add_url": reverse("chemicals-spill-new"),
        "add": "Write a spill down",
        "right": right(request, "spill.record"),
    }
    return listing.answer(request, "chemicals/list.html", SpillTable(spills()), "spills", context)


def _spill(number: str) -> Spill:
    return get_object_or_404(spills(), number=number.upper())


def _page(spill: Spill) -> str:
    return reverse("chemicals-spill", args=[spill.number])


# --- writing down -----------------------------------------------------------------------------------------------------
@BOTH
def new(request: HttpRequest) -> HttpResponse:
    """A spill, in two steps: its mass as 100 % beside the reportable quantity first, then it is written."""
    form = SpillForm(posted(request), initial={"happened_at": timezone.now()}, system=unit_system_of(request))
    mass, strength = None, None
    if request.method == "POST" and form.is_valid():
        strength = form.strength_at(form.cleaned_data["chemical"], timezone.now())
        mass = form.mass(form.cleaned_data["chemical"], strength) if strength else None
        if mass is not None and strength and is_written(request, mass.value):
            outcome = try_act(
                form, services.record_spill, request, amount=form.typed(strength), **form.arguments()
            )
            if outcome is not None:
                receipt(request, f"Written: spill {outcome.result.number}. {_booked(outcome.result)}")
                return redirect(_page(outcome.result))
    chemical = form.cleaned_data.get("chemical", "") if form.is_bound else ""
    calls = _means(request, form, chemical, mass, strength)
    context = {"form": form, "title": "Write a spill down", "fields": form.visible_fields(), **calls}
    return render(
        request, "chemicals/spill_form.html", context, status=refused_status(form) if form.errors else 200
    )


@BOTH
def again(request: HttpRequest, number: str) -> HttpResponse:
    """A better figure, in two steps as the first."""
    spill = _spill(number)
    before = newest_figure(spill)
    initial = {
        "strength_frac": before.strength_frac,
        "temperature_kelvin": before.temperature_kelvin,
        "version": spill.version,
    }
    form = SpillAgainForm(posted(request), initial=initial, system=unit_system_of(request))
    mass, strength = None, None
    if request.method == "POST" and form.is_valid():
        strength = form.strength_at(spill.chemical, timezone.now())
        mass = form.mass(spill.chemical, strength) if strength else None
        if mass is not None and strength and is_written(request, mass.value):
            outcome = try_act(
                form, services.measure_spill_anew, request, spill_id=spill.pk, amount=form.typed(strength),
                reason=form.text("reason"), version=form.shown_version,
            )  # fmt: skip
            if outcome is not None:
                receipt(request, f"Written: a better figure of {spill.number}. {_booked(outcome.result)}")
                return redirect(_page(spill))
    means = _means(request, form, spill.chemical, mass, strength, spill)
    context = {
        "form": form,
        "title": f"How much it was: {spill.number}",
        "fields": form.visible_fields(),
        "spill": spill,
        "is_stale": refused_status(form) == 409 if form.errors else False,
        **means,
    }
    return render(
        request, "chemicals/spill_form.html", context, status=refused_status(form) if form.errors else 200
    )


def _means(
    request: HttpRequest,
    form: SpilledForm,
    chemical: str,
    mass: Estimate | None,
    strength: float | None,
    spill: Spill | None = None,
) -> dict[str, object]:
    """What was understood, and what it is held against; nothing of it is written yet."""
    found = None if form.errors else mass
    system = unit_system_of(request)
    against, is_reached = "", False
    if found is not None and strength:
        at = (
            spill.happened_at
            if spill
            else getattr(form, "cleaned_data", {}).get("happened_at") or timezone.now()
        )
        limit = threshold(Chemical(chemical), ThresholdKind.RELEASE)
        counted = limit.counted if limit else Counted.PURE
        others = sum(
            grams for _, grams in within_a_day(chemical, at, counted, but=[spill.pk] if spill else [])
        )
        own = found.value if counted is Counted.PURE else found.value / strength
        whole = round(own * 1000.0) + others
        is_reached = limit is not None and whole >= round(limit.limit_kg * 1000.0)
        words = (
            f"{units.twin(limit.limit_kg, 'mass', system)}, {limit.counted.label}; {limit.citation}"
            if limit
            else ""
        )
        against = against_words(words, is_reached, whole, others > 0, system)
    return {
        "amount": found,
        "strength": strength,
        "against": against,
        "is_reached": is_reached,
        "calls": profile().call_text.splitlines(),
        "shown_mark": mark_of(found.value) if found else "",
        "is_another": found is not None and is_another(request, found.value),
        "right": right(request, "spill.record"),
        "back_url": _page(spill) if spill else reverse("chemicals-spills"),
    }  # fmt: skip


def against_words(limit: str, is_reached: bool, day_grams: int, has_others: bool, system: str) -> str:
    """What a spill is held against, and how it stands to it, in a sentence."""
    if not limit:
        return (
            f"No reportable quantity of it is known here, which does not mean that there is none. {CONFIRM}"
        )
    day = units.twin(day_grams / 1000.0, "mass", system)
    summed = "With others of the same chemical within 24 hours it" if has_others else "It"
    stands = "reaches" if is_reached else "stays under"
    return f"{summed} comes to {day}; that {stands} the reportable quantity of {limit}. {CONFIRM}"


def _booked(spill: Spill) -> str:
    """What the ledger did with it."""
    figure = newest_figure(spill)
    if figure.movement is not None:
        return f"Its mass left {figure.movement.from_place.code} in the ledger."
    if spill.place is not None:
        return f"{spill.place.code} holds less than that by the books, so the ledger moved nothing: count its stock."
    return "It came out of no tank, so the ledger moved nothing."


# --- the page ---------------------------------------------------------------------------------------------------------
@require_safe
def page(request: HttpRequest, number: str) -> HttpResponse:
    spill, system = _spill(number), unit_system_of(request)
    figure = newest_figure(spill)
    has_others = figure.day_grams not in (figure.grams_100, figure.product_grams)
    sheet = (
        selectors.data_sheets(only_in_force=True)
        .filter(chemical=spill.chemical)
        .order_by("-revised_on")
        .first()
    )
    context = {
        "spill": spill,
        "figure": figure,
        "chemical": Chemical(spill.chemical),
        "rows": _rows(spill, figure, system),
        "against": against_words(
            figure.limit_words, figure.is_reached, figure.day_grams, has_others, system
        ),
        "figures": [(one, one.movement) for one in spill.figures.all()],
        "calls": profile().call_text.splitlines(),
        "booked": _booked(spill),
        "record": right(request, "spill.record"),
        "close": right(request, "spill.close"),
        "sheet": shown.sheet_caution(sheet) if sheet else None,
        "sheet_source": shown.sheet_source(sheet) if sheet else "",
        "story": story([("spill", spill.number)], newest_first=True, limit=30),
    }  # fmt: skip
    return render(request, "chemicals/spill.html", context)


def _rows(spill: Spill, figure: SpillFigure, system: str) -> list[tuple[str, str]]:
    return [
        ("Mass, as 100 %", units.twin(figure.grams_100 / 1000.0, "mass", system)),
        ("Mass of product", units.twin(figure.product_grams / 1000.0, "mass", system)),
        ("From", f"{figure.value_as_typed} {figure.unit_as_typed}".strip()),
        ("Strength, temperature", f"{units.format_quantity(figure.strength_frac, 'strength')}, {units.format_quantity(figure.temperature_kelvin, 'temperature', system)}"),
        ("Where", spill.location),
        ("Where it went", spill.get_reached_display()),
        ("Out of", str(spill.place) if spill.place else "no tank: hose, line or drum"),
        ("Written by", spill.written_by.full_name),
    ]  # fmt: skip


@BOTH
def note(request: HttpRequest, number: str) -> HttpResponse:
    spill = _spill(number)
    form = SpillNoteForm(posted(request), initial={"happened_at": timezone.now(), "version": spill.version})
    act = Act(
        title=f"Follow up {spill.number}",
        sentence="What was done, who was told, or what was decided about reporting it and by whom.",
        permission="spill.record",
        service=services.note_spill,
        arguments=lambda: {"spill_id": spill.pk, **form.arguments(), "version": form.shown_version},
        said=lambda outcome: f"Written: {spill.number} is followed up.",
        then=lambda outcome: _page(spill),
        back_url=_page(spill),
    )
    return act_page(request, form, act)


@BOTH
def close(request: HttpRequest, number: str) -> HttpResponse:
    spill = _spill(number)
    form = SpillCloseForm(posted(request), initial={"version": spill.version})
    act = Act(
        title=f"Close {spill.number}",
        sentence="It stays on record as it is. Nothing more is written to it.",
        permission="spill.close",
        service=services.close_spill,
        arguments=lambda: {
            "spill_id": spill.pk,
            "words": form.text("words"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {spill.number} is closed.",
        then=lambda outcome: _page(spill),
        back_url=_page(spill),
        button="Close it",
    )
    return act_page(request, form, act)
