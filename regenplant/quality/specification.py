"""The specification a batch is judged by, and the verdict as it stands now. Nothing is changed here."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import F

from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.rinse import EndPoint, end_point_of, rinse_sifted, rinse_verdict, specification_of
from regenplant.batches.worked_out import worked_of
from regenplant.core.process import laboratory
from regenplant.core.process.acceptance import Verdict
from regenplant.core.process.laboratory import Found
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.series import Series
from regenplant.core.process.sifting import Sifted, sifted
from regenplant.core.process.specification import CONDUCTIVITY, LabResult, Limit, Specification
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.models import Downgrade, QcMeasurement
from regenplant.recipes.models import SpecificationVersion
from regenplant.recipes.selectors import specification_definition

TANKS_ARE_TESTED = (BatchState.PASSED, BatchState.FILLED)
"""States in which what is measured on each tank is written, beside the time before the judgement."""


def downgrade_of(batch: Batch) -> Downgrade | None:
    """How the batch went down to a lower product; None for all others. One query for each batch that is at hand, then none."""
    return getattr(batch, "downgrade", None)


def applied_version(batch: Batch) -> SpecificationVersion:
    """The specification version the batch is judged by: that it was frozen with, or the lower one it was passed against."""
    down = downgrade_of(batch)
    return down.to_version if down is not None else batch.specification_version


def applied_specification(batch: Batch) -> Specification:
    """What the batch must show: as it was frozen with, the strictest of several customers' where it was worked out, or the lower one
    it was passed against."""
    down = downgrade_of(batch)
    return specification_definition(down.to_version) if down is not None else specification_of(batch)


@dataclass(frozen=True, slots=True)
class AppliedName:
    """One specification version a batch is judged by: "Q-MB version 1", and its digest."""

    code: str
    number: int
    digest: str

    @property
    def name(self) -> str:
        return f"{self.code} version {self.number}"


def applied_names(batch: Batch) -> tuple[AppliedName, ...]:
    """All that the batch is judged by, each once: of several customers every one of which it meets the strictest."""
    worked = worked_of(batch) if downgrade_of(batch) is None else None
    if worked is not None:
        return tuple(AppliedName(part.code, part.number, part.digest) for part in worked.parts)
    version = applied_version(batch)
    return (AppliedName(version.specification.code, version.number, version.digest),)


def applied_class(batch: Batch) -> str:
    """The class its resin has once it passed: that of the batch, or the lower one."""
    down = downgrade_of(batch)
    return down.to_class if down is not None else batch.segregation_class


def sample_limits(batch: Batch) -> tuple[Limit, ...]:
    """The limits that are measured on the sample, not read during the rinse."""
    return tuple(limit for limit in applied_specification(batch).limits if limit.measurement != CONDUCTIVITY)


def current_measurements(batch: Batch) -> list[QcMeasurement]:
    """Measurements that no later one replaces, oldest first. Those of a sample taken before the rinse went on are left out."""
    rows = QcMeasurement.objects.filter(batch=batch, replaced_by__isnull=True).select_related(
        "instrument", "entered_by", "tank__visit__tank"
    )
    older = rows.filter(batch__rinse_continuations__continued_at__gte=F("occurred_at")).values("pk")
    return list(rows.exclude(pk__in=older).order_by("occurred_at", "id"))


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict with what it rests on."""

    verdict: Verdict
    end_point: EndPoint
    measurements: tuple[QcMeasurement, ...]
    tanks: tuple[TankTest, ...] = ()
    """What is measured on each tank, tank by tank; empty where nothing is, or no tank holds the resin yet."""
    found: Sifted | None = field(default=None, compare=False, repr=False)
    """What the readings were found good for on the way to the verdict; no part of it."""


@dataclass(frozen=True, slots=True)
class TankTest:
    """One limit on one tank."""

    limit: Limit
    link: BatchTank
    found: Found


def tanks_with_resin(batch: Batch) -> list[BatchTank]:
    """The tanks that hold this batch's resin now and are to leave: filled from it and not withdrawn; of carbon, which is
    rinsed in its tanks, all that are not set aside."""
    links = batch.tank_links.filter(is_current=True, set_aside_reason="", withdrawn_at__isnull=True)
    if ResinFamily(batch.resin_type.family) is not ResinFamily.CARBON:
        links = links.filter(is_filled=True)
    return list(links.select_related("visit__tank").order_by("position"))


def lab_result(row: QcMeasurement) -> LabResult:
    """A stored measurement as the core judges it."""
    return LabResult(
        measurement=row.key,
        value=row.value,
        at_s=row.occurred_at.timestamp(),
        instrument_code=row.instrument.code if row.instrument else "",
        instrument_is_valid=row.instrument_was_valid,
        tank=row.tank.visit.tank.serial if row.tank else "",
        temperature_kelvin=row.temperature_kelvin,
    )


def waits_for_tanks(judged: Judged) -> tuple[str, ...]:
    """Why the tanks are not released yet: what is measured on each of them and is not inside on one, as sentences."""
    return tuple(
        test.found.sentence for test in judged.tanks if test.found.standing is not laboratory.Standing.INSIDE
    )


def judgement(batch: Batch, against: Specification | None = None, series: Series | None = None) -> Judged:
    """Judge the batch as it stands: rinse readings and sample against the specification it was frozen with, or the lower one it was
    passed against. ``against`` asks how it would stand by another one; nothing is decided by that. ``series``: its readings, where they are read already."""
    rows = current_measurements(batch)
    results = [lab_result(row) for row in rows]
    specification = against if against is not None else applied_specification(batch)
    links = tanks_with_resin(batch) if specification.is_measured_on_each_tank else []
    found = (
        sifted(series, specification)
        if series is not None
        else rinse_sifted(batch, specification=specification)
    )
    verdict = rinse_verdict(
        batch,
        results=results,
        tanks=[link.visit.tank.serial for link in links],
        specification=specification,
        found=found,
    )
    tests = tuple(
        TankTest(limit, link, laboratory.of_tank(limit, results, link.visit.tank.serial, verdict.rinsed_bv))
        for limit in specification.limits
        if limit.each_tank
        for link in links
    )
    return Judged(verdict, end_point_of(verdict, specification), tuple(rows), tests, found)
