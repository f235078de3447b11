"""The ledger: no movement missing, none that takes more than was there, corrections that mirror, strengths worked out again."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

from django.db.models import Q

from regenplant import CORE_VERSION, units
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, shown_gap
from regenplant.chemicals.levels import shape_of
from regenplant.chemicals.models import (
    Movement,
    Place,
    SpillFigure,
    StockCount,
    StrengthCheck,
    Unloading,
    WeighTicket,
)
from regenplant.chemicals.selectors import balances, strength_of_sample, unlocked_content
from regenplant.chemicals.weighing import weighing_of
from regenplant.core.engineering.tank_levels import volume_up_to
from regenplant.core.errors import DomainError
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.vocabulary import Chemical

CLOSE = 1e-9
_COLUMNS = (
    "number", "chemical", "lot__code", "lot__chemical", "from_place_id", "to_place_id", "grams_100", "corrects__number",
    "corrects__grams_100", "corrects__chemical", "corrects__from_place_id", "corrects__to_place_id",
)  # fmt: skip


def check_ledger(look: Look) -> Iterator[Finding]:
    """All movements in order of their numbers, with what each place held after each."""
    places = {place.pk: place for place in Place.objects.all()}
    held: dict[tuple[str, int], int] = {}
    numbers: list[int] = []
    for row in Movement.objects.order_by("number").values_list(*_COLUMNS).iterator(2000):
        look.saw()
        number, chemical, lot, lot_chemical, source, target, grams, *corrected = row
        numbers.append(number)
        held[chemical, source] = held.get((chemical, source), 0) - grams
        held[chemical, target] = held.get((chemical, target), 0) + grams
        if places[source].kind == Place.Kind.BULK_TANK and held[chemical, source] < 0:
            yield Finding(
                "ledger",
                f"After movement {number} {places[source].code} would hold {units.twin(held[chemical, source] / 1000.0, 'mass')} of "
                f"{Chemical(chemical).formula} as 100 %: less than nothing.",
            )
        if lot_chemical is not None and lot_chemical != chemical:
            yield Finding("ledger", f"Movement {number} moves {chemical}, its lot {lot} is {lot_chemical}.")
        if corrected[0] is not None and corrected[1:] != [grams, chemical, target, source]:
            yield Finding(
                "ledger",
                f"Movement {number} takes back movement {corrected[0]}, and is not the same the other way round.",
            )
    for gap in missing_numbers(numbers, 1):
        yield Finding("ledger", f"Movement {shown_gap(gap)} missing in the chemical ledger.")
    if {key: grams for key, grams in held.items() if grams} != {k: g for k, g in balances().items() if g}:
        yield Finding("ledger", "The balances of the chemical ledger are not the sums of its movements.")


def check_strengths(look: Look) -> Iterator[Finding]:
    """Strengths that were worked out from a density, worked out again; the core may know more by now, so within a tenth of a per cent."""
    for check in StrengthCheck.objects.select_related("lot").order_by("pk").iterator(500):
        look.saw()
        if check.method != "density" or check.density_kg_per_m3 is None:
            continue
        try:
            anew = strength_of_sample(
                check.lot.chemical,
                density_kg_per_m3=check.density_kg_per_m3,
                temperature_kelvin=check.temperature_kelvin,
            ).value
        except DomainError:
            anew = math.nan
        if not math.isclose(anew, check.strength_frac, rel_tol=1e-3):
            yield Finding(
                "strength",
                f"The strength of lot {check.lot.code}, checked {check.checked_at:%Y-%m-%d %H:%M} UTC, does not follow from its density "
                f"(core {CORE_VERSION}).",
            )


def check_unloadings(look: Look) -> Iterator[Finding]:
    """Each delivery that was unlocked, against what its signature covers: papers, sample, and who scanned the connection."""
    rows = Unloading.objects.filter(state=Unloading.State.UNLOCKED).select_related("place", "signature")
    for row in rows.order_by("pk").iterator(500):
        look.saw()
        signature = row.signature
        if (
            signature is None
            or (signature.record_kind, signature.record_key) != ("unloading", row.number)
            or signature.person_id != row.opened_by_id
        ):
            yield Finding(
                "unloading", f"Delivery {row.number} is unlocked without the signature of whom it names."
            )
        elif _own(signature.content) != _own(canonical_text(unlocked_content(row))):
            yield Finding("unloading", f"Delivery {row.number} is not as it was signed to be unlocked.")


def check_weigh_tickets(look: Look) -> Iterator[Finding]:
    """Each weigh ticket: that what it says of its difference follows from its figures, and that another person answered it."""
    for row in WeighTicket.objects.select_related("unloading").order_by("pk").iterator(500):
        look.saw()
        if weighing_of(row).is_beyond != row.is_beyond:
            yield Finding(
                "weigh_ticket",
                f"What weigh ticket {row.paper_number} of {row.unloading.number} says of its difference does not follow from its figures "
                f"(core {CORE_VERSION}).",
            )
        if row.answered_by_id is not None and row.answered_by_id == row.weighed_by_id:
            yield Finding(
                "weigh_ticket",
                f"The difference of weigh ticket {row.paper_number} of {row.unloading.number} was answered by who wrote it.",
            )


def check_counts(look: Look) -> Iterator[Finding]:
    """Each count by level, worked out again from level, shape, strength and temperature; and each booking, that another person made it."""
    counters: dict[str, int] = {}
    for count in StockCount.objects.select_related("place", "geometry").order_by("pk").iterator(500):
        look.saw()
        counters[count.number] = count.counted_by_id
        if count.method == StockCount.Method.LEVEL and not _follows(count):
            yield Finding(
                "stock_count",
                f"What count {count.number} found does not follow from its level (core {CORE_VERSION}).",
            )
    booked = Movement.objects.filter(corrects=None).filter(
        Q(from_place__kind=Place.Kind.UNEXPLAINED) | Q(to_place__kind=Place.Kind.UNEXPLAINED)
    )
    for number, reference, person in booked.values_list("number", "reference", "moved_by_id"):
        if counters.get(reference) == person:
            yield Finding(
                "stock_count",
                f"Movement {number} books what count {reference} found, by the person who counted it.",
            )


def _follows(count: StockCount) -> bool:
    """The volume by the shape, the mass by volume and concentration."""
    if (
        count.geometry is None
        or count.level_m is None
        or count.volume_m3 is None
        or count.concentration_kg_per_m3 is None
    ):
        return False
    try:
        volume = volume_up_to(shape_of(count.geometry), count.level_m + count.geometry.zero_above_bottom_m)
    except DomainError:
        return False
    mass = count.volume_m3 * count.concentration_kg_per_m3 * 1000.0
    return math.isclose(volume, count.volume_m3, rel_tol=CLOSE) and abs(mass - count.found_grams_100) <= 1.0


def check_spills(look: Look) -> Iterator[Finding]:
    """Each figure of a spill against the movement that took it out of the tank."""
    rows = SpillFigure.objects.filter(movement__isnull=False).select_related("spill", "movement")
    for row in rows.order_by("pk").iterator(500):
        look.saw()
        moved = row.movement
        if moved is None or (moved.grams_100, moved.chemical, moved.reference) != (
            row.grams_100,
            row.spill.chemical,
            row.spill.number,
        ):
            yield Finding(
                "spill", f"Figure {row.position} of spill {row.spill.number} is not what left the tank."
            )


def _own(content: str) -> dict[str, object]:
    """What is signed, without what the tank may have been given since: its connection and tolerance."""
    found: dict[str, object] = json.loads(content)
    sample = found.get("sample")
    if isinstance(sample, dict):
        sample.pop("tolerance_frac", None)
    found.pop("connection", None)
    return found


register(Check("ledger", "Chemical ledger", "movements of chemicals", check_ledger), place=50)
register(Check("strength", "Strength checks", "strength checks", check_strengths), place=51)
register(Check("spill", "Spills", "figures of spills", check_spills), place=57)
register(Check("unloading", "Unlocked deliveries", "deliveries", check_unloadings), place=52)
register(Check("weigh_ticket", "Weigh tickets", "weigh tickets", check_weigh_tickets), place=58)
register(Check("stock_count", "Stock counts", "stock counts", check_counts), place=53)
