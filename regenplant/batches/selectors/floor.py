"""The floor at one glance: what is wrong, what is going on, what is next. A constant number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Prefetch, Q

from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import Standing, left_standing, vessel_of
from regenplant.batches.models import Batch, BatchTank, Deviation, RinseStanding, StepEntry, StepRun
from regenplant.batches.readiness import occupants
from regenplant.batches.rinse import shows_resistivity, specification_of
from regenplant.batches.selectors.progress import Progress, StepLine, progress_of
from regenplant.batches.selectors.rinse import AT_25
from regenplant.batches.selectors.start import PoolFit, pool_fits
from regenplant.chemicals.selectors import stock_board
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.specification import CONDUCTIVITY
from regenplant.plant.models import PlantProfile, Vessel
from regenplant.plant.selectors import is_eyewash_overdue, plant_day


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """The one figure of a bed that counts now, with its limits; a rinse reading or the newest entry with limits."""

    name: str
    kind: str
    value: float
    low: float | None
    high: float | None
    target: float | None
    is_end_point: bool
    """True where "outside" means "not yet" and nothing is wrong."""


@dataclass(frozen=True, slots=True)
class BedAtWork:
    batch: Batch
    progress: Progress
    current: StepLine | None
    following: StepLine | None
    left_s: float | None
    """Planned time left of the current step; None where nothing runs."""
    waited_s: float | None
    """Since when it waits for QC, filling or release."""
    done_at: datetime | None
    figure: KeyFigure | None
    tank_count: int
    at_work: tuple[StepLine, ...] = ()
    """Every step that can be worked on now; two while the legs of a mixed bed run side by side."""
    left_standing: tuple[Standing, ...] = ()
    """Legs in which a chemical stands while nothing runs."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that needs a person. ``kind`` chooses the mark; ``target`` is what to open."""

    kind: str
    headline: str
    text: str
    target_kind: str
    target_key: str
    target_label: str
    is_amber: bool = True


@dataclass(frozen=True, slots=True)
class FloorBoard:
    at: datetime
    troubles: tuple[Trouble, ...]
    beds: tuple[BedAtWork, ...]
    to_fill_or_release: tuple[BedAtWork, ...]
    pools: tuple[PoolFit, ...]
    vessel_count: int
    held_count: int
    waiting_tank_count: int


def floor_board(now: datetime, plant: PlantProfile) -> FloorBoard:
    """The floor as of ``now``."""
    batches = _live_batches()
    beds = tuple(_bed(batch, now) for batch in batches)
    vessels = list(Vessel.objects.filter(is_active=True))
    pools = pool_fits(
        now,
        vessels=vessels,
        occupied={
            pk
            for batch in batches
            if batch.state != BatchState.FILLED
            for pk in (batch.vessel_id, batch.anion_vessel_id)
            if pk is not None
        },
    )
    in_vessel = tuple(bed for bed in beds if bed.batch.state != BatchState.FILLED)
    return FloorBoard(
        at=now,
        troubles=tuple(_troubles(beds, vessels, now, plant)),
        beds=in_vessel,
        to_fill_or_release=tuple(bed for bed in beds if bed.batch.state == BatchState.FILLED),
        pools=pools,
        vessel_count=len(vessels),
        held_count=sum(1 for bed in beds if bed.batch.state == BatchState.HELD),
        waiting_tank_count=sum(len(pool.pool.visits) for pool in pools),
    )


def _live_batches() -> list[Batch]:
    live = Q(pk__in=occupants().values("pk")) | Q(state=BatchState.FILLED)
    return list(
        Batch.objects.filter(live)
        .select_related(
            "vessel",
            "anion_vessel",
            "resin_type",
            "specification_version",
            "recipe_version__recipe",
            "rinse_standing",
        )
        .prefetch_related(
            "holds",
            Prefetch("steps", StepRun.objects.select_related("started_by", "finished_by")),
            Prefetch(
                "steps__entries",
                StepEntry.objects.filter(replaced_by__isnull=True).order_by("occurred_at", "id"),
            ),
            Prefetch("tank_links", BatchTank.objects.filter(is_current=True)),
            Prefetch("deviations", Deviation.objects.filter(decided_at__isnull=True)),
            "readings",
        )
        .order_by("vessel__code", "planned_at")
    )


def _bed(batch: Batch, now: datetime) -> BedAtWork:
    progress = progress_of(batch, now)
    runs = batch.state in (BatchState.READY, BatchState.RUNNING, BatchState.RINSING, BatchState.HELD)
    current = progress.current if runs else None
    is_waiting_on_people = batch.state in (BatchState.AWAITING_QC, BatchState.PASSED, BatchState.FILLED)
    since = batch.judged_at or batch.rinsed_at
    return BedAtWork(
        batch=batch,
        progress=progress,
        current=current,
        following=progress.following if runs else None,
        left_s=current.left_s if current and current.started_at else None,
        waited_s=(now - since).total_seconds() if is_waiting_on_people and since else None,
        done_at=now + timedelta(seconds=progress.left_s) if runs and batch.started_at else None,
        figure=_figure(batch, current),
        tank_count=len(batch.tank_links.all()),
        at_work=progress.at_work if runs else (),
        left_standing=left_standing(batch, list(batch.steps.all()), plan_of(batch)) if runs else (),
    )


def _figure(batch: Batch, current: StepLine | None) -> KeyFigure | None:
    newest = _newest_25(batch)
    if newest is not None and batch.state in (BatchState.RINSING, BatchState.AWAITING_QC, BatchState.HELD):
        return _rinse_figure(batch, newest)
    if current is None:
        return None
    specs = {spec.key: spec for spec in plan_of(batch).step(current.number).entries}
    step = next(step for step in batch.steps.all() if step.pk == current.id)
    for entry in reversed(list(step.entries.all())):
        spec = specs.get(entry.key)
        if spec is not None and entry.value is not None and (spec.low is not None or spec.high is not None):
            return _entry_figure(spec, entry.value)
    return None


def _newest_25(batch: Batch) -> float | None:
    """The newest conductivity at 25 °C [S/m], by hand or of a meter; None before the first."""
    kept: RinseStanding | None = getattr(batch, "rinse_standing", None)
    if kept is not None and kept.logs and kept.curve:
        return float(kept.curve[-1][AT_25])
    readings = list(batch.readings.all())
    return readings[-1].conductivity_25_siemens_per_m if readings else None


def _entry_figure(spec: EntrySpec, value: float) -> KeyFigure:
    return KeyFigure(spec.name, spec.kind, value, spec.low, spec.high, spec.target, is_end_point=False)


def _rinse_figure(batch: Batch, conductivity_25_siemens_per_m: float) -> KeyFigure | None:
    limit = specification_of(batch).limit(CONDUCTIVITY)
    if limit is None or limit.high is None:
        return None
    if shows_resistivity(limit):
        value, low = 1.0 / conductivity_25_siemens_per_m, 1.0 / limit.high
        return KeyFigure("Resistivity at 25 °C", "resistivity", value, low, None, None, is_end_point=True)
    return KeyFigure(
        "Conductivity at 25 °C",
        "conductivity",
        conductivity_25_siemens_per_m,
        None,
        limit.high,
        None,
        is_end_point=True,
    )


def _troubles(
    beds: tuple[BedAtWork, ...], vessels: list[Vessel], now: datetime, plant: PlantProfile
) -> list[Trouble]:
    found: list[Trouble] = []
    for bed in beds:
        found += _batch_troubles(bed)
    for vessel in vessels:
        if vessel.is_locked_out:
            since = f" since {vessel.lock_out_at:%Y-%m-%d}" if vessel.lock_out_at else ""
            found.append(
                Trouble(
                    "locked",
                    f"{vessel.code} is locked out.",
                    f"{vessel.lock_out_reason}, lock {vessel.lock_out_number}, {vessel.lock_out_by}{since}.",
                    "vessel",
                    vessel.code,
                    f"Open {vessel.code}",
                    is_amber=False,
                )
            )
    if is_eyewash_overdue(plant, plant_day(now)):
        found.append(
            Trouble(
                "overdue",
                "The eyewash test is overdue.",
                "No chemical starts until it is written down.",
                "emergency",
                "",
                "Open showers and eyewash",
            )
        )
    found += [
        Trouble("check", f"{line.chemical.label}.", line.problem, "chemicals", "", "Open chemicals")
        for line in stock_board(now)
        if line.problem
    ]
    return found


def _batch_troubles(bed: BedAtWork) -> list[Trouble]:
    batch, found = bed.batch, []
    vessel = batch.vessel.code
    target = ("batch", batch.number, f"Open {batch.number}")
    if batch.state == BatchState.HELD:
        hold = next((hold for hold in batch.holds.all() if hold.resumed_at is None), None)
        found.append(
            Trouble("held", f"{vessel} is held: {batch.number}.", hold.reason if hold else "", *target)
        )
    if batch.state in (BatchState.FAILED, BatchState.ABORTED):
        found.append(
            Trouble(
                "failed",
                f"{batch.number} {batch.get_state_display()} in {vessel}.",
                "A supervisor decides: rework or scrap.",
                *target,
            )
        )
    if batch.state != BatchState.HELD:
        found += [
            Trouble(
                "overdue",
                f"{vessel_of(batch, line.leg).code}: {line.name} is {-line.left_s / 60:.0f} min over its time.",
                batch.number,
                *target,
            )
            for line in bed.at_work
            if line.is_late
        ]
        found += [
            Trouble(
                "check",
                f"{one.chemical.label} stands in {one.vessel.code} and nothing runs.",
                f"{batch.number}: start {one.next_step[:1].lower()}{one.next_step[1:]}.",
                *target,
            )
            for one in bed.left_standing
            if one.next_step
        ]
    open_count = len(batch.deviations.all())
    if open_count:
        noun = "deviation is" if open_count == 1 else "deviations are"
        found.append(
            Trouble(
                "check",
                f"{batch.number}: {open_count} {noun} open.",
                "It cannot be released before a supervisor decides.",
                *target,
            )
        )
    return found
