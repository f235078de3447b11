"""The measures a supervisor watches beside the use of chemicals: each against its level, whole and by the groups it gathers in.

All is read from the record and from what is derived of it; nothing here is stored. ``core.process.watch_measures`` says what each
measure is. Batches count where they were judged or given up, entries where they were written.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet, Sum

from regenplant.audit.selectors import acts_since
from regenplant.batches.cycle_losses import losses_of
from regenplant.batches.models import Batch, BatchTank, RinseReading, StepEntry, StepRun
from regenplant.chemicals.counts import DayBalance, day_balances
from regenplant.chemicals.models import Place
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.process.watch_measures import Watched, longest_row, over_median, rise_frac
from regenplant.people.signing import SAME_PERSON
from regenplant.plant.calibrations import Due, due_of
from regenplant.plant.days import plant_day, start_of_day
from regenplant.plant.models import Instrument
from regenplant.quality.models import RinseOutcome
from regenplant.quality.rinse_series import PASS, Measure, Rinse, rinses, series_of
from regenplant.use.models import MeasureLevel
from regenplant.use.selectors.audit import Group, audit, outside_count
from regenplant.use.selectors.question import By, Question
from regenplant.use.watching import Watch, measure_levels
from regenplant.waste.excursion_models import Excursion
from regenplant.waste.models import StepDrain

MOST_CYCLES = 400
"""Of so many batches at most, the newest, the loss of resin is worked out for one page; this program's choice."""
MOST_RINSES = 30
"""Newest batches of one lot and recipe that a rise of its waste is sought in; some of them may have no drains on record."""
FEWEST_CYCLES = 3
"""Cycles of one lot or type before its loss is marked by itself: two counts may lie 5 % apart; this program's choice."""
SOFTENERS = frozenset({ResinFamily.SAC_SODIUM.value})


@dataclass(frozen=True, slots=True)
class Figure:
    """One group, or the whole."""

    kind: str
    """What the group is: "resin lot", "chemical lot", "vessel", "customer", "batch", "resin family"...; "" for the whole."""
    key: str
    name: str
    value: float
    """A share for measures in per cent, else a plain number."""
    count: int
    """Of how many batches, rinses or entries."""
    is_beyond: bool


@dataclass(frozen=True, slots=True)
class Found:
    """One measure of the period."""

    watched: Watched
    level: float
    own: MeasureLevel | None
    """The line the plant wrote; None where the usual level holds."""
    figures: tuple[Figure, ...]
    """Those beyond the level first, the worst on top."""
    note: str = ""
    """What was left out, as a sentence; "" for nothing."""

    @property
    def beyond(self) -> tuple[Figure, ...]:
        return tuple(figure for figure in self.figures if figure.is_beyond)


@dataclass(frozen=True, slots=True)
class _Raw:
    """A figure before it is held against a level."""

    kind: str
    key: str
    name: str
    value: float
    count: int
    can_be_marked: bool = True


def watched_in(first: date, last: date, now: datetime, stations: Mapping[str, bool]) -> tuple[Found, ...]:
    """Every measure from ``first`` to ``last``, days of the plant, both counted in; what is overdue as of ``now``. The same number of
    queries however much there is. ``stations``: showers and eyewashes in use by code, and whether a test of it is overdue or failed."""
    start, end = start_of_day(first), start_of_day(last + timedelta(days=1))
    outcomes = RinseOutcome.objects.filter(ended_at__gte=start, ended_at__lt=end)
    window = rinses(outcomes)
    lines = {rinse.line for rinse in window if rinse.line}
    history = rinses(RinseOutcome.objects.filter(line__in=sorted(lines), ended_at__lt=end)) if lines else []
    losses, note = _losses(window)
    raw: dict[Watched, Iterable[_Raw]] = {
        Watched.RINSE_RISE: _rises(history, start),
        Watched.WASTE_RISE: _waste_rises(history, start),
        Watched.TIME_LONG: _long(history, start),
        Watched.YIELD_MIXED: _yields(window, lambda family: ResinFamily(family).is_mixed),
        Watched.YIELD_SOFTENER: _yields(window, lambda family: family in SOFTENERS),
        Watched.YIELD_OTHER: _yields(
            window, lambda family: family not in SOFTENERS and not ResinFamily(family).is_mixed
        ),
        Watched.IN_A_ROW: _in_a_row(window, outcomes),
        Watched.TOGETHER: _together(window),
        Watched.RESIN_LOSS: losses,
        Watched.LATE: _late(start, end),
        Watched.OVERDUE: _overdue(now, stations),
        Watched.OWN_WORK: _own_work(start, end),
        Watched.EXCURSIONS: _excursions(start, end),
    }
    levels = measure_levels()
    notes = {Watched.RESIN_LOSS: note}
    return tuple(_held(watched, raw[watched], levels[watched], notes.get(watched, "")) for watched in Watched)


def _held(watched: Watched, raw: Iterable[_Raw], own: MeasureLevel | None, note: str) -> Found:
    """Figures against the level, the worst first."""
    measure = watched.measure
    level = measure.usual if own is None else own.level
    figures = [
        Figure(
            one.kind,
            one.key,
            one.name,
            one.value,
            one.count,
            one.can_be_marked and measure.beyond.holds(one.value, level),
        )
        for one in raw
    ]
    sign = 1 if measure.beyond.value == "below" else -1
    figures.sort(key=lambda one: (not one.is_beyond, sign * one.value, one.kind, one.name))
    return Found(watched, level, own, tuple(figures), note)


# --- rinses -------------------------------------------------------------------------------------------------------------
def _rises(history: Sequence[Rinse], start: datetime) -> Iterator[_Raw]:
    """Of each series with a rinse in the period; reworks and rinses that never reached their limit say nothing of a rise."""
    for one in series_of(history):
        whole = [rinse for rinse in one.rinses if rinse.is_reached and not rinse.is_rework]
        if not whole or whole[-1].ended_at < start:
            continue
        rise = rise_frac([rinse.rinsed_bv or 0.0 for rinse in whole])
        if rise is not None:
            yield _Raw("resin lot", one.line, f"{one.line}, {one.recipe}", rise, len(whole))


def _waste_rises(history: Sequence[Rinse], start: datetime) -> Iterator[_Raw]:
    """As of the rinse, but of all the chemical water of a batch, whether its rinse ended by volume or by a limit. Batches that were
    given up, reworks, and those without a drain on record are in none. What a drain carried may be unknown; its volume counts."""
    lines: dict[tuple[str, str], list[Rinse]] = {}
    for rinse in history:
        if rinse.verdict != RinseOutcome.Verdict.GIVEN_UP and not rinse.is_rework:
            lines.setdefault((rinse.line, rinse.recipe), []).append(rinse)
    lines = {key: found for key, found in lines.items() if found[-1].ended_at >= start}
    wanted = {rinse.number for found in lines.values() for rinse in found[-MOST_RINSES:]}
    drained = _drained_bv(wanted)
    for (line, recipe), found in lines.items():
        known = [drained[rinse.number] for rinse in found if rinse.number in drained]
        rise = rise_frac(known)
        if rise is not None:
            yield _Raw("resin lot", line, f"{line}, {recipe}", rise, len(known))


def _drained_bv(numbers: Iterable[str]) -> dict[str, float]:
    """By number, what each batch sent down its drains with chemical in it, over the volume of its resin [-]; corrections counted."""
    rows = StepDrain.objects.filter(batch__number__in=sorted(numbers), was_given_up=False)
    sums = rows.values_list("batch__number", "batch__resin_volume_m3").annotate(waste=Sum("waste_m3"))
    return {number: waste / resin for number, resin, waste in sums.order_by("batch__number")}


def _long(history: Sequence[Rinse], start: datetime) -> Iterator[_Raw]:
    """Each rinse of the period over the middle one of its series."""
    for one in series_of(history, Measure.TIME):
        times = [rinse.rinse_s or 0.0 for rinse in one.rinses]
        for rinse, seconds in zip(one.rinses, times, strict=True):
            times_middle = over_median(seconds, times) if rinse.ended_at >= start else None
            if times_middle is not None:
                yield _Raw(
                    "batch", rinse.number, f"{rinse.number}, {one.line}", times_middle, len(one.rinses)
                )


# --- yields and failures ------------------------------------------------------------------------------------------------
def _yields(window: Sequence[Rinse], wanted: Callable[[str], bool]) -> Iterator[_Raw]:
    """The whole, then by family."""
    first = [rinse for rinse in window if not rinse.is_rework and wanted(rinse.family)]
    if not first:
        return
    passed = sum(rinse.passed_first for rinse in first)
    yield _Raw("", "", "all of them", passed / len(first), len(first))
    families = sorted({rinse.family for rinse in first})
    for family in families if len(families) > 1 else ():
        own = [rinse for rinse in first if rinse.family == family]
        share = sum(rinse.passed_first for rinse in own) / len(own)
        yield _Raw("resin family", family, ResinFamily(family).abbreviation, share, len(own))


def _in_a_row(window: Sequence[Rinse], outcomes: QuerySet[RinseOutcome]) -> Iterator[_Raw]:
    """By lot, vessel, customer, and by who began which step, in the order in which the batches ended."""
    groups: dict[tuple[str, str], list[bool]] = {}
    for rinse in window:
        for kind, name in (("resin lot", rinse.line), ("vessel", rinse.vessel)):
            if name:
                groups.setdefault((kind, name), []).append(rinse.verdict != PASS)
    for (kind, name), failed in groups.items():
        if any(failed):
            yield _Raw(kind, name, name, float(longest_row(failed)), len(failed))
    failed_of = {rinse.number: rinse.verdict != PASS for rinse in window}
    if any(failed_of.values()):
        yield from _customers_in_a_row(failed_of, outcomes.values("number"))
        yield from _people_in_a_row(failed_of, outcomes.values("number"))


def _customers_in_a_row(failed_of: Mapping[str, bool], numbers_asked: QuerySet[Any, Any]) -> Iterator[_Raw]:
    """By the customers whose tanks were in the batches: their feed may be behind it."""
    for (code, name), numbers in sorted(_numbers_by_customer(numbers_asked).items()):
        failed = [is_failed for number, is_failed in failed_of.items() if number in numbers]
        if any(failed):
            yield _Raw("customer", code, f"{name} ({code})", float(longest_row(failed)), len(failed))


def _people_in_a_row(failed_of: Mapping[str, bool], numbers_asked: QuerySet[Any, Any]) -> Iterator[_Raw]:
    """By who began which step. Steps that one person began in the very same batches are one line."""
    found: dict[tuple[str, str], set[str]] = {}
    rows = StepRun.objects.filter(batch__number__in=numbers_asked, started_by__isnull=False)
    for person, step, number in rows.values_list("started_by__full_name", "name", "batch__number").order_by(
        "batch_id", "number"
    ):
        found.setdefault((person, step), set()).add(number)
    together: dict[tuple[str, frozenset[str]], list[str]] = {}
    for (person, step), numbers in found.items():
        together.setdefault((person, frozenset(numbers)), []).append(step)
    for (person, shared), steps in together.items():
        failed = [is_failed for number, is_failed in failed_of.items() if number in shared]
        if any(failed):
            name = f"{person}: {', '.join(steps)}"
            yield _Raw("person and step", name, name, float(longest_row(failed)), len(failed))


def _together(window: Sequence[Rinse]) -> Iterator[_Raw]:
    failed = [rinse for rinse in window if rinse.verdict != PASS]
    if not failed:
        return
    bad, every = Counter(_groups_of(failed)), Counter(_groups_of(window))
    for (kind, name), count in bad.items():
        yield _Raw(kind, name, name, float(count), every[kind, name])
    yield from _of_customers([one.number for one in failed])


def _groups_of(found: Iterable[Rinse]) -> Iterator[tuple[str, str]]:
    for rinse in found:
        named = [("resin lot", rinse.line), ("vessel", rinse.vessel)]
        yield from ((kind, name) for kind, name in named if name)
        yield from (("chemical lot", name) for name in rinse.chemical_lots)


def _of_customers(failed: Sequence[str]) -> Iterator[_Raw]:
    """Failed batches by the customers whose tanks were in them."""
    for (code, name), numbers in _numbers_by_customer(failed).items():
        yield _Raw("customer", code, f"{name} ({code})", float(len(numbers)), len(failed))


def _numbers_by_customer(numbers: Sequence[str] | QuerySet[Any, Any]) -> dict[tuple[str, str], set[str]]:
    """By code and name of a customer those of the batches that hold a tank of it. One query."""
    rows = BatchTank.objects.filter(batch__number__in=numbers, visit__customer__isnull=False)
    found: dict[tuple[str, str], set[str]] = {}
    for code, name, number in rows.values_list(
        "visit__customer__code", "visit__customer__name", "batch__number"
    ):
        found.setdefault((code, name), set()).add(number)
    return found


# --- resin --------------------------------------------------------------------------------------------------------------
def _losses(window: Sequence[Rinse]) -> tuple[list[_Raw], str]:
    """By type of resin and by lot: lost over what came in."""
    newest = [rinse for rinse in window if rinse.lot_made][-MOST_CYCLES:]
    of_number = {rinse.number: rinse for rinse in newest}
    lots = Batch.objects.filter(number__in=list(of_number), lot__isnull=False)
    losses = losses_of(list(lots.values_list("lot_id", flat=True))) if of_number else {}
    sums: dict[tuple[str, str], list[float]] = {}
    for loss in losses.values():
        rinse = of_number[loss.number]
        if not loss.is_counted:
            continue
        for kind, key in (("resin type", rinse.resin_type), ("resin lot", rinse.line)):
            if key:
                one = sums.setdefault((kind, key), [0.0, 0.0, 0.0])
                for place, value in enumerate((loss.lost_m3, loss.came_in_m3, 1.0)):
                    one[place] += value
    made = [
        _Raw(kind, key, key, lost / came_in, round(cycles), can_be_marked=cycles >= FEWEST_CYCLES)
        for (kind, key), (lost, came_in, cycles) in sums.items()
        if came_in > 0.0
    ]
    left = sum(bool(rinse.lot_made) for rinse in window) - len(newest)
    return (
        made,
        f"Worked out of the newest {len(newest)} batches; {left} older ones are left out." if left else "",
    )


# --- chemicals ----------------------------------------------------------------------------------------------------------
GROUPED = (By.FAMILY, By.VESSEL, By.CUSTOMER, By.RESIN_LOT, By.CHEMICAL_LOT)


@dataclass(frozen=True, slots=True)
class UseBeyond:
    """Groups of the audit of use beyond the level of a period, by what they are groups of, the worst first."""

    groups: tuple[tuple[By, Group], ...]
    counted: int
    outside: int
    """Chemicals of batches beyond the level of a batch."""
    lines: int


def use_beyond(first: date, last: date) -> UseBeyond:
    """The use of the period against the plan, by every group."""
    off: list[tuple[By, Group]] = []
    counted, whole = 0, None
    for by in GROUPED:
        found = audit(Question(first, last, by))
        whole = whole or found
        counted += len(found.groups)
        off += [(by, group) for group in found.groups if is_beyond(group, found.watch)]
    assert whole is not None
    off.sort(key=lambda one: -abs(one[1].sums.variance_frac or 0.0))
    return UseBeyond(tuple(off), counted, outside_count(whole.question, whole.watch), whole.lines)


def is_beyond(group: Group, watch: Watch) -> bool:
    """Beyond the level of a period."""
    variance = group.sums.variance_frac
    return variance is not None and abs(variance) > watch.period_frac


def gaps_in(first: date, last: date) -> list[DayBalance]:
    """Every balance between two counts that closed in the period, by tank."""
    tanks = Place.objects.filter(kind=Place.Kind.BULK_TANK).order_by("code")
    return [one for tank in tanks for one in day_balances(tank, first, last)]


# --- writing and people -------------------------------------------------------------------------------------------------
def _late(start: datetime, end: datetime) -> Iterator[_Raw]:
    whole = {"written": 0, "late": 0, "corrected": 0}
    for model in (StepEntry, RinseReading):
        sums = model.objects.filter(entered_at__gte=start, entered_at__lt=end).aggregate(
            written=Count("pk"),
            late=Count("pk", filter=Q(is_late=True)),
            corrected=Count("pk", filter=Q(replaces__isnull=False, is_late=False)),
        )
        for name in whole:
            whole[name] += sums[name]
    if whole["written"]:
        said = f"{whole['late']} late, {whole['corrected']} corrected"
        hundred = 100.0 * (whole["late"] + whole["corrected"]) / whole["written"]
        yield _Raw("", "", said, hundred, whole["written"])


def _overdue(now: datetime, stations: Mapping[str, bool]) -> Iterator[_Raw]:
    today = plant_day(now)
    instruments = list(Instrument.objects.filter(is_active=True).order_by("code"))
    late = [one.code for one in instruments if due_of(one, today, 0.0) in (Due.OVERDUE, Due.NEVER)]
    yield _Raw("instruments", "", _named("instruments", late), float(len(late)), len(instruments))
    calling = sorted(code for code, is_due in stations.items() if is_due)
    yield _Raw("stations", "", _named("showers and eyewashes", calling), float(len(calling)), len(stations))


def _named(what: str, codes: Sequence[str]) -> str:
    return f"{what}: {', '.join(codes)}" if codes else what


def _own_work(start: datetime, end: datetime) -> Iterator[_Raw]:
    acts = [line for line in acts_since(["signature.refused"], start) if line.at < end]
    own = [line for line in acts if line.facts.get("facts", {}).get("why") == SAME_PERSON]
    yield _Raw("", "", f"of {len(acts)} refused signatures", float(len(own)), len(acts))


def _excursions(start: datetime, end: datetime) -> Iterator[_Raw]:
    numbers = list(
        Excursion.objects.filter(happened_at__gte=start, happened_at__lt=end)
        .order_by("happened_at", "pk")
        .values_list("number", flat=True)
    )
    yield _Raw("excursions", "", ", ".join(numbers[-6:]) or "none", float(len(numbers)), len(numbers))
