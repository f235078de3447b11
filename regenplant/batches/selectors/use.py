"""Chemical use: what should have gone in, what was planned, what went in; per batch and per family."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.chemicals.selectors import use_by_reference
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.vocabulary import Chemical, ResinFamily

RATIO = "regenerant_ratio_frac"
"""Figure of an injection that regenerates: its equivalents over the load of the resin."""
WATCH_BATCH_FRAC = 0.05
"""Watch level of the variance of one batch; common practice, not a limit of the process."""
WATCH_PERIOD_FRAC = 0.02
"""Watch level of the variance of a week; common practice, not a limit of the process."""


@dataclass(frozen=True, slots=True)
class UseLine:
    """One chemical of one batch. Masses as 100 % [kg]; resin volume as loaded [m^3]."""

    batch: Batch
    family: ResinFamily
    chemical: Chemical
    step_number: int
    resin_volume_m3: float
    theory_kg_100: float
    """Stoichiometric: exactly what the eluted equivalents ask for; 0 where the chemical elutes nothing (cleaning, brine ahead
    of a separation, sanitizing)."""
    planned_kg_100: float
    used_kg_100: float

    @property
    def variance_kg_100(self) -> float:
        return self.used_kg_100 - self.planned_kg_100

    @property
    def variance_frac(self) -> float:
        return self.variance_kg_100 / self.planned_kg_100

    @property
    def used_kg_per_m3(self) -> float:
        return self.used_kg_100 / self.resin_volume_m3

    @property
    def planned_kg_per_m3(self) -> float:
        return self.planned_kg_100 / self.resin_volume_m3

    @property
    def is_outside(self) -> bool:
        """Beyond the usual watch level of 5 % for one batch (common practice)."""
        return abs(self.variance_frac) > WATCH_BATCH_FRAC


@dataclass(frozen=True, slots=True)
class UseTotal:
    """All lines of one family and chemical in the period; ``family`` None: of one chemical over all families."""

    family: ResinFamily | None
    chemical: Chemical
    batches: int
    resin_volume_m3: float
    theory_kg_100: float
    planned_kg_100: float
    used_kg_100: float
    spread_frac: float | None
    """Standard deviation of the batch variances; None below three batches."""

    @property
    def variance_kg_100(self) -> float:
        return self.used_kg_100 - self.planned_kg_100

    @property
    def variance_frac(self) -> float:
        return self.variance_kg_100 / self.planned_kg_100

    @property
    def used_kg_per_m3(self) -> float:
        return self.used_kg_100 / self.resin_volume_m3

    @property
    def planned_kg_per_m3(self) -> float:
        return self.planned_kg_100 / self.resin_volume_m3


@dataclass(frozen=True, slots=True)
class ChemicalUse:
    lines: tuple[UseLine, ...]
    totals: tuple[UseTotal, ...]
    by_chemical: tuple[UseTotal, ...]

    @property
    def outside(self) -> tuple[UseLine, ...]:
        return tuple(line for line in self.lines if line.is_outside)


def chemical_use(
    start: datetime, end: datetime, *, family: ResinFamily | None = None, chemical: Chemical | None = None
) -> ChemicalUse:
    """Chemical used by batches started from ``start`` up to, not including, ``end``; newest first. Three queries.

    Only batches with a movement in the ledger appear: the actual mass is what left the stock, not what was planned.
    """
    batches = Batch.objects.filter(started_at__gte=start, started_at__lt=end).select_related(
        "resin_type", "vessel", "lot"
    )
    if family is not None:
        batches = batches.filter(resin_type__family=family.value)
    found = list(batches.order_by("-started_at", "-id"))
    used = use_by_reference([batch.number for batch in found])
    lines = tuple(
        line
        for batch in found
        for line in _lines(batch, used.get(batch.number, {}))
        if chemical is None or line.chemical is chemical
    )
    return ChemicalUse(
        lines,
        tuple(_totals(lines, by_family=True)),
        tuple(_totals(lines, by_family=False)),
    )


def _lines(batch: Batch, grams: dict[str, int]) -> Iterable[UseLine]:
    brought = [step for step in plan_of(batch).steps if step.chemical and step.chemical.value in grams]
    for step in brought:
        assert step.chemical is not None
        planned = step.value("chemical_kg_100")
        # The ledger knows the batch, not the step: two injections of one chemical share its mass as they were planned.
        together = _planned_kg_100(other for other in brought if other.chemical is step.chemical)
        yield UseLine(
            batch=batch,
            family=ResinFamily(batch.resin_type.family),
            chemical=step.chemical,
            step_number=step.number,
            resin_volume_m3=batch.resin_volume_m3,
            theory_kg_100=_theory_kg_100(step, brought),
            planned_kg_100=planned,
            used_kg_100=grams[step.chemical.value] / 1000.0 * (planned / together),
        )


def _planned_kg_100(steps: Iterable[PlannedStep]) -> float:
    return sum(step.value("chemical_kg_100") for step in steps)


def _theory_kg_100(step: PlannedStep, brought: Iterable[PlannedStep]) -> float:
    """Its part of what the load asks for: injections that regenerate the same resin in steps share it as they were planned."""
    if RATIO not in step.figures:
        return 0.0
    planned = step.value("chemical_kg_100")
    sharing = [
        one
        for one in brought
        if one.chemical is step.chemical and one.leg is step.leg and RATIO in one.figures
    ]
    return planned / step.value(RATIO) * (planned / _planned_kg_100(sharing))


def _totals(lines: Iterable[UseLine], *, by_family: bool) -> Iterable[UseTotal]:
    groups: dict[tuple[ResinFamily | None, Chemical], list[UseLine]] = {}
    for line in lines:
        groups.setdefault((line.family if by_family else None, line.chemical), []).append(line)
    for family, chemical in sorted(groups, key=lambda key: (key[1], key[0] or "")):
        yield _total(family, chemical, groups[family, chemical])


def _total(family: ResinFamily | None, chemical: Chemical, members: list[UseLine]) -> UseTotal:
    variances = [line.variance_frac for line in members]
    return UseTotal(
        family=family,
        chemical=chemical,
        batches=len(members),
        resin_volume_m3=sum(line.resin_volume_m3 for line in members),
        theory_kg_100=sum(line.theory_kg_100 for line in members),
        planned_kg_100=sum(line.planned_kg_100 for line in members),
        used_kg_100=sum(line.used_kg_100 for line in members),
        spread_frac=statistics.stdev(variances) if len(variances) > 2 else None,
    )
