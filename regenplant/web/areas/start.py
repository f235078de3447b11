"""Starting a batch: tanks, vessel and recipe are chosen, the plan is looked at, then it is frozen under a number."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from regenplant.batches import services
from regenplant.batches.selectors import StartPage, start_page
from regenplant.batches.selectors.start import pool_fits
from regenplant.planning.members import members
from regenplant.planning.not_here import absences
from regenplant.planning.selectors import planned_batch
from regenplant.planning.services import start_planned
from regenplant.units import UnitSystem
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm
from regenplant.web.presenters.bed import family_short, vessels_words
from regenplant.web.presenters.start import start_view
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

TAB = {"tab": "waiting"}
LARGEST_ID = 2**31 - 1
MOST_TANKS = 500
LONGEST_THROUGHPUT = 40
LONGEST_CODE = 16


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person chose, as far as it can be read. ``visit_ids`` None: nothing is chosen yet, so it is suggested."""

    type_id: int | None
    segregation_class: str
    dedicated_id: int | None
    vessel_id: int | None
    recipe_id: int | None
    specification_id: int | None
    visit_ids: tuple[int, ...] | None
    unread: tuple[str, ...]
    """What of it could not be read."""
    anion_vessel_id: int | None = None
    """Where the anion leg of a mixed bed runs."""
    shown_vessel_id: int | None = None
    """The vessel the choices were shown for."""
    throughput_text: str = ""
    """Water the tanks treated, as typed."""
    planned: str = ""
    """Code of the planned batch that is started; "" for one of its own."""

    @property
    def is_vessel_new(self) -> bool:
        """Whether another vessel was chosen than the one the choices were shown for."""
        return self.shown_vessel_id is not None and self.shown_vessel_id != self.vessel_id

    def query(self) -> str:
        """The same choice as an address."""
        pairs: list[tuple[str, object]] = [("type", self.type_id), ("class", self.segregation_class)]
        for name, value in (
            ("dedicated", self.dedicated_id),
            ("vessel", self.vessel_id),
            ("recipe", self.recipe_id),
            ("specification", self.specification_id),
            ("anion_vessel", self.anion_vessel_id),
            ("shown_vessel", self.shown_vessel_id),
            ("throughput", self.throughput_text or None),
            ("planned", self.planned or None),
        ):
            pairs += [(name, value)] if value is not None else []
        if self.visit_ids is not None:
            pairs += [("chosen", 1), *(("tanks", pk) for pk in self.visit_ids)]
        return urlencode(pairs)


def wanted_of(data: QueryDict) -> Wanted:
    """Read a choice from an address or a form; nothing here is trusted."""
    unread: list[str] = []

    def whole(text: str) -> int | None:
        if text.isascii() and text.isdigit() and 0 < int(text[:12]) <= LARGEST_ID:
            return int(text[:12])
        if text:
            unread.append(text[:20])
        return None

    typed = data.getlist("tanks")[:MOST_TANKS]
    tanks = [pk for text in typed if (pk := whole(text)) is not None]
    names = ("type", "dedicated", "vessel", "recipe", "specification", "anion_vessel", "shown_vessel")
    chosen = {name: whole(data.get(name, "")) for name in names}
    return Wanted(
        type_id=chosen["type"],
        segregation_class=data.get("class", "")[:1],
        dedicated_id=chosen["dedicated"],
        vessel_id=chosen["vessel"],
        recipe_id=chosen["recipe"],
        specification_id=chosen["specification"],
        anion_vessel_id=chosen["anion_vessel"],
        shown_vessel_id=chosen["shown_vessel"],
        visit_ids=tuple(dict.fromkeys(tanks)) if typed or data.get("chosen") else None,
        unread=tuple(unread),
        throughput_text=data.get("throughput", "").strip()[:LONGEST_THROUGHPUT],
        planned=data.get("planned", "").strip().upper()[:LONGEST_CODE],
    )


@dataclass(frozen=True, slots=True)
class Missing:
    """What the start of a planned batch is told about those of its tanks that cannot go in."""

    code: str
    planned: int
    """How many tanks the plan put into it."""
    sentences: tuple[str, ...]
    """One for each that cannot go in, with its number."""


def missing_of(code: str, now: datetime) -> Missing | None:
    """Which tanks of a planned batch cannot go in now, and why; None for no planned batch, or where none is missing. Few queries."""
    row = planned_batch(code) if code else None
    if row is None:
        return None
    sentences = absences(row, now)
    return Missing(row.code, len(members(row)), tuple(sentences)) if sentences else None


def as_planned(code: str) -> Wanted | None:
    """The choice that an accepted plan made for a batch; None where none of this code waits."""
    row = planned_batch(code)
    if row is None:
        return None
    tanks = members(row)
    return Wanted(
        type_id=row.resin_type_id,
        segregation_class=row.segregation_class,
        dedicated_id=tanks[0].tank.dedicated_to_id,
        vessel_id=row.vessel_id,
        recipe_id=row.recipe_version_id,
        specification_id=None,
        visit_ids=tuple(one.visit.pk for one in tanks if one.visit is not None and one.is_judged),
        unread=(),
        anion_vessel_id=row.anion_vessel_id,
        planned=row.code,
    )


class StartForm(forms.Form):
    """What a start needs besides the choices: that the cautions were read, and which plan was seen."""

    gear = forms.BooleanField(label="I read the cautions, and the gear they ask for is on")
    digest = forms.CharField(
        widget=forms.HiddenInput,
        max_length=64,
        error_messages={"required": "No plan was shown for this choice. Look at the plan, then start."},
    )


class ThroughputForm(HouseForm):
    """Water the tanks treated since they were charged; with the feed analysis it says what the resin holds."""

    throughput = QuantityField(
        "liquid_volume", label="Water these tanks treated, all together", required=False
    )

    @classmethod
    def of(cls, wanted: Wanted, system: UnitSystem) -> ThroughputForm:
        form = cls({"throughput": wanted.throughput_text}, system=system)
        form.full_clean()
        return form

    @property
    def volume_m3(self) -> float | None:
        """None where nothing is written, or nothing that was understood."""
        found = self.cleaned_data.get("throughput")
        return found.value if found is not None and found.value > 0.0 else None


@require_http_methods(["GET", "HEAD", "POST"])
def start(request: HttpRequest, tab: str) -> HttpResponse:
    """The page; a POST either plans again with other choices, or freezes what was shown."""
    wanted = wanted_of(request.POST if request.method == "POST" else request.GET)
    if request.method == "POST" and request.POST.get("act") != "freeze":
        return redirect(f"{reverse('start')}?{wanted.query()}")
    if wanted.planned and wanted.type_id is None and (planned := as_planned(wanted.planned)) is not None:
        return redirect(f"{reverse('start')}?{planned.query()}")
    throughput = ThroughputForm.of(wanted, unit_system_of(request))
    page = _page_of(wanted, throughput, is_vessel_new=wanted.is_vessel_new and request.method != "POST")
    if page is None:
        return _nothing_waits(request, wanted)
    if request.method == "POST":
        return _freeze(request, wanted, page, throughput)
    return _render(request, wanted, page, StartForm(), throughput, 200)


def _freeze(
    request: HttpRequest, wanted: Wanted, page: StartPage, throughput: ThroughputForm
) -> HttpResponse:
    form = StartForm(request.POST)
    for sentence in _not_offered(wanted, page):
        form.add_error(None, sentence)
    if throughput.errors:
        form.add_error(
            None, "The water that was treated is not understood. Write it with its unit, or leave it empty."
        )
    if form.is_valid() and page.recipe is not None and page.specification is not None:
        outcome = try_act(
            form,
            partial(start_planned, planned_code=wanted.planned) if wanted.planned else services.freeze_batch,
            request,
            visit_ids=list(wanted.visit_ids or ()),
            vessel_id=page.fit.vessel.pk,
            recipe_version_id=page.recipe.pk,
            specification_version_id=page.specification.pk,
            shown_digest=form.cleaned_data["digest"],
            anion_vessel_id=page.anion_vessel.pk if page.anion_vessel else None,
            throughput_m3=page.throughput_m3,
        )
        if outcome is not None:
            batch = outcome.result
            receipt(
                request, f"Written: {batch.number} is planned in {vessels_words(batch)}, its plan is frozen."
            )
            return redirect("batches-detail", batch.number)
    again = _page_of(wanted, throughput)
    if again is None:
        return _nothing_waits(request, wanted, form)
    return _render(request, wanted, again, form, throughput, refused_status(form) if form.errors else 422)


def _not_offered(wanted: Wanted, page: StartPage) -> list[str]:
    """What was chosen and is no choice here, or no longer."""
    choices = (
        (wanted.vessel_id, {fit.vessel.pk for fit in page.fits}, "vessel"),
        (wanted.recipe_id, {one.version.pk for one in page.recipes}, "recipe"),
        (wanted.specification_id, {version.pk for version in page.specifications}, "specification"),
        *(
            [
                (
                    wanted.anion_vessel_id,
                    {one.vessel.pk for one in page.anion_vessels},
                    "vessel of the anion leg",
                )
            ]
            if page.needs_anion_vessel
            else []
        ),
    )
    found = [
        f"The {noun} that was chosen is no choice for this pool, or no longer. Choose one of the list."
        for value, known, noun in choices
        if value is not None and value not in known
    ]
    if wanted.unread:
        found.append(f"“{wanted.unread[0]}” is no number of a tank, vessel or recipe. Choose from the lists.")
    return found


def _page_of(wanted: Wanted, throughput: ThroughputForm, *, is_vessel_new: bool = False) -> StartPage | None:
    if wanted.type_id is None:
        return None
    return start_page(
        timezone.now(),
        resin_type_id=wanted.type_id,
        segregation_class=wanted.segregation_class,
        dedicated_to_id=wanted.dedicated_id,
        vessel_id=wanted.vessel_id,
        visit_ids=wanted.visit_ids,
        recipe_version_id=wanted.recipe_id,
        specification_version_id=wanted.specification_id,
        anion_vessel_id=wanted.anion_vessel_id,
        throughput_m3=throughput.volume_m3,
        is_vessel_new=is_vessel_new,
    )


def _render(
    request: HttpRequest,
    wanted: Wanted,
    page: StartPage,
    form: StartForm,
    throughput: ThroughputForm,
    status: int,
) -> HttpResponse:
    context = {
        "view": start_view(page, timezone.now(), unit_system_of(request)),
        "pool": page.pool,
        "form": form,
        "throughput": throughput,
        "planned": wanted.planned,
        "missing": missing_of(wanted.planned, timezone.now()),
        "right": right(request, "batch.plan"),
        "unread": _not_offered(wanted, page) if request.method != "POST" else [],
    }
    return render(request, "start/start.html", context, status=status)


def _nothing_waits(request: HttpRequest, wanted: Wanted, form: StartForm | None = None) -> HttpResponse:
    """No such pool waits: say so, and what does wait."""
    context: dict[str, Any] = {
        "missing": missing_of(wanted.planned, timezone.now()),
        "is_asked": wanted.type_id is not None or bool(wanted.unread),
        "form": form,
        "pools": [
            (
                f"{family_short(found.pool.resin_type.family)}, class {found.pool.segregation_class}"
                + (f", dedicated to {found.pool.dedicated_to.name}" if found.pool.dedicated_to else ""),
                len(found.pool.visits),
                f"{reverse('start')}?{_pool_query(found.pool)}",
            )
            for found in pool_fits(timezone.now())
            if found.fits
        ],
    }
    status = 409 if request.method == "POST" else 404 if context["is_asked"] else 200
    return render(request, "start/nothing.html", context, status=status)


def _pool_query(pool: Any) -> str:
    pairs = {"type": pool.resin_type.pk, "class": pool.segregation_class}
    if pool.dedicated_to is not None:
        pairs["dedicated"] = pool.dedicated_to.pk
    return urlencode(pairs)


urlpatterns = [path("start/", start, TAB, name="start")]
