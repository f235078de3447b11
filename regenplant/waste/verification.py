"""The waste ledger: each row follows from the one before it, and every drain is in the tanks it went to, whole and once."""

from __future__ import annotations

import math
from collections.abc import Iterator

from django.db.models import QuerySet

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, shown_gap
from regenplant.core.process.drains import METAL_DESTINATIONS, Destination
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.waste.models import StepDrain, WasteMovement

CLOSE = 1e-6
"""Cubic metres, and share of an amount: what sums of floats may be apart."""


def check_waste(look: Look) -> Iterator[Finding]:
    """Volumes and ions of each tank, from row to row."""
    level: dict[int, float] = {}
    held: dict[int, dict[str, float]] = {}
    numbers: list[int] = []
    for row in WasteMovement.objects.select_related("tank").order_by("number").iterator(500):
        look.saw()
        numbers.append(row.number)
        before = level.get(row.tank_id)
        if before is not None and not math.isclose(before + row.volume_m3, row.level_m3, abs_tol=CLOSE):
            yield Finding(
                "waste",
                f"After waste movement {row.number} the level of {row.tank.code} is not what stood there and what came or left.",
            )
        if before is not None and _unlike(held[row.tank_id], row):
            yield Finding(
                "waste",
                f"After waste movement {row.number} the ions in {row.tank.code} are not what stood there and what came or left.",
            )
        level[row.tank_id], held[row.tank_id] = row.level_m3, dict(row.held_mol)
    for gap in missing_numbers(numbers, 1):
        yield Finding("waste", f"Waste movement {shown_gap(gap)} missing in the ledger.")


def _unlike(before: dict[str, float], row: WasteMovement) -> bool:
    names = {*before, *row.amounts_mol, *row.held_mol}
    return any(
        not math.isclose(
            before.get(name, 0.0) + row.amounts_mol.get(name, 0.0),
            row.held_mol.get(name, 0.0),
            rel_tol=CLOSE,
            abs_tol=CLOSE,
        )
        for name in names
    )


def check_drains(look: Look) -> Iterator[Finding]:
    """Each drain against the rows of the tanks it went to, together; none of metal-bearing resin went to a tank or a drain."""
    rows = _volumes_by_step(WasteMovement.Kind.DRAIN)
    drains = StepDrain.objects.select_related("batch").defer("batch__plan_text").order_by("pk")
    yield from _corrections(drains.filter(corrected_at__isnull=False))
    drains = drains.filter(corrected_at__isnull=True)
    for drain in drains.iterator(500):
        look.saw()
        name = f"what step {drain.step_number} of batch {drain.batch.number} drained"
        came = rows.get((drain.batch_id, drain.step_number))
        into = drain.waste_m3 if drain.destination == Destination.NEUTRALIZATION else 0.0
        if not math.isclose(came or 0.0, into, abs_tol=CLOSE) and (
            came is not None or WasteMovement.objects.exists()
        ):
            yield Finding("drain", f"{name[:1].upper()}{name[1:]} is not what came into the waste tank.")
        metal = drain.batch.segregation_class == SegregationClass.METAL_BEARING
        if metal and Destination(drain.destination) not in METAL_DESTINATIONS:
            yield Finding(
                "drain", f"{name[:1].upper()}{name[1:]} was metal-bearing and went elsewhere than to a drum."
            )


def _volumes_by_step(kind: WasteMovement.Kind) -> dict[tuple[int | None, int | None], float]:
    """What rows of this kind brought into the tanks, of each step of each batch [m^3]."""
    found: dict[tuple[int | None, int | None], float] = {}
    for row in WasteMovement.objects.filter(kind=kind).iterator(500):
        of_step = (row.batch_id, row.step_number)
        found[of_step] = found.get(of_step, 0.0) + row.volume_m3
    return found


def _corrections(rows: QuerySet[StepDrain]) -> Iterator[Finding]:
    """The tanks never have more put right than the drain of the step; less where some had left before, or the level was read since."""
    most: dict[tuple[int, int], float] = {}
    names: dict[tuple[int, int], str] = {}
    for row in rows.iterator(500):
        of_step = (row.batch_id, row.step_number)
        most[of_step] = most.get(of_step, 0.0) + abs(row.waste_m3)
        names[of_step] = row.batch.number
    in_tanks = _volumes_by_step(WasteMovement.Kind.CORRECTION)
    for (batch, number), volume in most.items():
        if abs(in_tanks.get((batch, number), 0.0)) > volume + CLOSE:
            yield Finding(
                "drain",
                f"What was put right in the waste tanks of step {number} of batch {names[batch, number]} is more than its entry was corrected by.",
            )


register(Check("waste", "Waste ledger", "movements of waste", check_waste), place=57)
register(Check("drain", "Drains of steps", "drains", check_drains), place=58)
