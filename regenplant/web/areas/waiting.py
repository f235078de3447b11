"""The waiting list: accepted tanks by pooling key, the vessel each pool fits, and why a tank is in or out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant import units
from regenplant.batches.selectors.start import PoolFit, VesselFit, pool_fits
from regenplant.core.process.tank_selection import Choice
from regenplant.planning.models import PlannedBatch
from regenplant.planning.selectors import planned_for
from regenplant.tanks.models import TankVisit
from regenplant.tanks.selectors import DockTank, WaitingPool, dock
from regenplant.units import UnitSystem
from regenplant.web.areas.intake.shown import counted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@dataclass(frozen=True, slots=True)
class Row:
    """A waiting tank: in the next load or not, and why."""

    visit: TankVisit
    is_in: bool
    why: str
    is_late: bool
    planned: PlannedBatch | None = None
    """The batch of the accepted plan that it waits for."""


@dataclass(frozen=True, slots=True)
class PoolRow:
    """A pool as the page shows it."""

    pool: WaitingPool
    fit: VesselFit | None
    title: str
    caption: str
    verdict: str
    button: str
    may_start: bool
    others: tuple[str, ...]
    """What the other vessels say: which fits, which is taken or locked out."""
    rows: tuple[Row, ...]
    start_url: str


@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    now, system = timezone.now(), unit_system_of(request)
    found = pool_fits(now)
    planned = planned_for(visit.pk for one in found for visit in one.pool.visits)
    pools = [_pool_row(one, planned, now, system) for one in found]
    at_door = dock(now)
    context = {
        "pools": pools,
        "out": at_door,
        "sentence": _sentence(pools, at_door, system),
        "starting": right(request, "batch.plan"),
    }
    return render(request, "waiting/list.html", context)


def _sentence(pools: list[PoolRow], at_door: list[DockTank], system: UnitSystem) -> str:
    """What waits, in one sentence, and what may start."""
    if not pools:
        return "No tank waits for a batch." + (
            f" {counted(len(at_door), 'tank').capitalize()} at the door." if at_door else ""
        )
    tanks = sum(len(row.pool.visits) for row in pools)
    volume = units.format_quantity(sum(row.pool.total_m3 for row in pools), "resin_volume", system)
    ready = [row for row in pools if row.may_start]
    start = f"{counted(len(ready), 'pool').capitalize()} may start now." if ready else "None may start now."
    wait = "waits" if tanks == 1 else "wait"
    return f"{counted(tanks, 'tank').capitalize()} {wait} in {counted(len(pools), 'pool')}, {volume}. {start}"


def _pool_row(
    found: PoolFit, planned: Mapping[int, PlannedBatch], now: datetime, system: UnitSystem
) -> PoolRow:
    pool, fit = found.pool, found.best
    choices = {choice.key: choice for choice in fit.selection.choices} if fit else {}
    query = {"type": pool.resin_type.pk, "class": pool.segregation_class}
    if pool.dedicated_to:
        query["dedicated"] = pool.dedicated_to.pk
    return PoolRow(
        pool=pool,
        fit=fit,
        title=_title(pool),
        caption=_caption(pool, fit),
        verdict=_verdict(fit),
        button=_button(fit, system),
        may_start=fit is not None and fit.may_start,
        others=tuple(_other(one, system) for one in found.fits[1:]),
        rows=tuple(
            replace(_row(visit, choices.get(visit.pk), fit, now, system), planned=planned.get(visit.pk))
            for visit in pool.visits
        ),
        start_url=f"{reverse('start')}?{urlencode(query)}",
    )


def _title(pool: WaitingPool) -> str:
    dedicated = f", dedicated to {pool.dedicated_to.name}" if pool.dedicated_to else ""
    return f"{pool.family.label} · class {pool.segregation_class}{dedicated}"


def _caption(pool: WaitingPool, fit: VesselFit | None) -> str:
    if fit is None:
        return f"{counted(len(pool.visits), 'tank')}, no vessel"
    chosen = sum(1 for choice in fit.selection.choices if choice.is_in)
    of_all = f" of {len(pool.visits)}" if chosen < len(pool.visits) else ""
    return f"{chosen}{of_all} {'tank' if chosen == 1 and not of_all else 'tanks'} into {fit.vessel.code}"


def _verdict(fit: VesselFit | None) -> str:
    if fit is None:
        return "no vessel takes it"
    if fit.selection.short_of_minimum_m3 > 0:
        return "too few to start"
    return f"fits {fit.vessel.code}"


def _button(fit: VesselFit | None, system: UnitSystem) -> str:
    if fit is None:
        return "No vessel takes this family and class"
    if fit.selection.short_of_minimum_m3 > 0:
        return (
            f"Needs {units.format_quantity(fit.selection.short_of_minimum_m3, 'resin_volume', system)} more"
        )
    return f"Start in {fit.vessel.code}" if fit.may_start else " ".join(fit.reasons_against)


def _other(fit: VesselFit, system: UnitSystem) -> str:
    low, high = (
        units.format_quantity(value, "resin_volume", system)
        for value in (fit.vessel.bed_volume_min_m3, fit.vessel.bed_volume_max_m3)
    )
    if fit.reasons_against:
        return f"{fit.vessel.code}, {low} to {high}: {' '.join(fit.reasons_against)}"
    return f"{fit.vessel.code}, {low} to {high}: {_verdict(fit)}."


def _row(
    visit: TankVisit, choice: Choice | None, fit: VesselFit | None, now: datetime, system: UnitSystem
) -> Row:
    late = visit.due_at is not None and visit.due_at < now
    if choice is None or fit is None:
        return Row(visit, False, "No vessel takes this family and class.", late)
    if not choice.is_in:
        room = units.format_quantity(choice.room_left_m3, "resin_volume", system)
        return Row(
            visit,
            False,
            f"{fit.vessel.code} has {room} left for it.",
            late,
        )
    return Row(
        visit,
        True,
        "Among the first promised." if choice.reason_code == "due" else "Among the oldest without a promise.",
        late,
    )


urlpatterns = [path("waiting/", waiting, name="waiting")]
