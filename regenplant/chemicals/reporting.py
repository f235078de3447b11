"""Reporting thresholds as they hold here, and the most of each chemical that stood at the plant in a year (EV-07)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from regenplant.chemicals.models import Movement, Place, ThresholdFigure
from regenplant.core.process.inventory import Flow, Peak, peak_of
from regenplant.core.process.thresholds import (
    Counted,
    Threshold,
    ThresholdKind,
    reference_for,
)
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.selectors import profile


# --- thresholds -----------------------------------------------------------------------------------------------------
def own_figures() -> dict[tuple[str, str], ThresholdFigure]:
    """The newest figure that the plant wrote, by chemical and kind; also one that takes the plant's own back. One query."""
    found: dict[tuple[str, str], ThresholdFigure] = {}
    for row in ThresholdFigure.objects.select_related("written_by").order_by("written_at", "id"):
        found[row.chemical, row.kind] = row
    return found


def _holds(
    chemical: Chemical, kind: ThresholdKind, own: dict[tuple[str, str], ThresholdFigure]
) -> Threshold | None:
    row = own.get((chemical.value, kind.value))
    if row is None or row.limit_grams is None:
        return reference_for(chemical, kind)
    return Threshold(
        chemical, kind, row.limit_grams / 1000.0, Counted(row.counted), row.value_as_typed, "plant_record", row.paper
    )  # fmt: skip


def threshold(chemical: Chemical, kind: ThresholdKind) -> Threshold | None:
    """The figure that holds here: the plant's own, else the reference; None where neither is known."""
    return _holds(chemical, kind, own_figures())


def thresholds() -> dict[tuple[Chemical, ThresholdKind], Threshold]:
    """Every figure that holds here. One query."""
    own = own_figures()
    return {
        (chemical, kind): found
        for chemical in Chemical
        for kind in ThresholdKind
        if (found := _holds(chemical, kind, own)) is not None
    }


# --- inventory ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class InventoryLine:
    """One chemical in one calendar year of the plant, beside the inventory that is reported."""

    chemical: Chemical
    peak: Peak
    threshold: Threshold | None

    @property
    def compared_kg(self) -> float | None:
        """The peak as the threshold counts it; None where there is no threshold, or the product is not known."""
        if self.threshold is None:
            return None
        return self.peak.pure_kg if self.threshold.counted is Counted.PURE else self.peak.product_kg

    @property
    def is_reached(self) -> bool | None:
        """Whether it came up to the threshold; None where that cannot be said."""
        compared = self.compared_kg
        return None if self.threshold is None or compared is None else self.threshold.is_reached(compared)


def year_of(moment: datetime) -> int:
    """The calendar year of the plant."""
    return moment.astimezone(ZoneInfo(profile().time_zone)).year


def span_of_year(year: int) -> tuple[datetime, datetime]:
    """The first moment of a calendar year of the plant, and of the next."""
    zone = ZoneInfo(profile().time_zone)
    return tuple(datetime.combine(date(number, 1, 1), time(), zone) for number in (year, year + 1))  # type: ignore[return-value]


def inventory_years(now: datetime) -> list[int]:
    """Years of which the ledger tells, the newest first."""
    first = Movement.objects.order_by("moved_at").values_list("moved_at", flat=True).first()
    return list(range(year_of(now), (year_of(first) if first else year_of(now)) - 1, -1))


def inventory_of_year(year: int, now: datetime) -> list[InventoryLine]:
    """The most of each chemical that stood in the bulk tanks in a calendar year, until ``now`` if it is not over. Five queries."""
    begins, ends = span_of_year(year)
    until = min(ends, max(now, begins))
    if until <= begins:
        return []
    limits = thresholds()
    tanks = set(Place.objects.filter(kind=Place.Kind.BULK_TANK).values_list("pk", flat=True))
    flows: dict[str, list[Flow]] = {}
    for chemical, flow in _flows(tanks):
        flows.setdefault(chemical, []).append(flow)
    lines = []
    for chemical in Chemical:
        if chemical.value not in flows:
            continue
        peak = peak_of(flows[chemical.value], begins, until)
        if peak.pure_at is not None:
            lines.append(InventoryLine(chemical, peak, limits.get((chemical, ThresholdKind.INVENTORY))))
    return lines


def _flows(tanks: set[int]) -> Iterator[tuple[str, Flow]]:
    """Movements into and out of bulk tanks, without those that were taken back.

    The strength of a delivery is that of the plant's sample before it was unloaded, else that of the certificate.
    """
    rows = Movement.objects.filter(corrects__isnull=True, corrected_by__isnull=True).order_by("number")
    columns = (
        "chemical", "moved_at", "number", "grams_100", "from_place_id", "to_place_id", "from_place__kind",
        "lot__certificate_strength_frac", "lot__unloading__sample_strength_frac",
    )  # fmt: skip
    for chemical, at, number, grams, source, target, kind, certificate, sample in rows.values_list(
        *columns
    ).iterator(2000):
        if source not in tanks and target not in tanks:
            continue
        strength = (sample or certificate) if kind == Place.Kind.SUPPLIER else None
        yield (
            chemical,
            Flow(
                at,
                number,
                grams,
                source if source in tanks else None,
                target if target in tanks else None,
                strength,
            ),
        )
