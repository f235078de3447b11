"""Where the drain of a step may go: destinations, and the class table that allows them (EV-01, EV-02).

The neutralization tank takes waste that is nothing but acid or alkaline. Waste of metal-bearing resin never goes there, whatever a
table says: with metals in it a waste is no longer only corrosive, and the tank is no longer an elementary neutralization unit
(40 CFR 260.10 and 264.1(g)(6); the plant's authority decides what it is). The rest of the table is common practice of exchange plants.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum

from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import Chemical, Leg, SegregationClass, StepKind


class Destination(StrEnum):
    """Where a drain goes."""

    NEUTRALIZATION = "neutralization"
    BRINE_SEWER = "brine_sewer"
    RINSE_DRAIN = "rinse_drain"
    BACKWASH_DRAIN = "backwash_drain"
    METAL_DRUM = "metal_drum"
    RECLAIM = "reclaim"

    @property
    def label(self) -> str:
        return _LABELS[self]


_LABELS = {
    Destination.NEUTRALIZATION: "waste tank (neutralization)",
    Destination.BRINE_SEWER: "brine to the sewer",
    Destination.RINSE_DRAIN: "rinse drain",
    Destination.BACKWASH_DRAIN: "backwash drain",
    Destination.METAL_DRUM: "metal drum",
    Destination.RECLAIM: "reclaim",
}


class Drained(StrEnum):
    """What a step drains."""

    WATER = "water"
    """Before any chemical: backwash, rinse, the water above the bed."""
    REGENERANT = "regenerant"
    BRINE = "brine"
    CLEANER = "cleaner"
    """Sanitizer, oxidizer or reductant."""

    @property
    def label(self) -> str:
        return _DRAINED[self]


_DRAINED = {
    Drained.WATER: "water before any chemical",
    Drained.REGENERANT: "spent acid or caustic and its rinse",
    Drained.BRINE: "spent brine and its rinse",
    Drained.CLEANER: "sanitizer or reductant and its rinse",
}

METAL_DESTINATIONS = (Destination.METAL_DRUM, Destination.RECLAIM)
"""The only ones that waste with a metal flag may have; no table widens this."""

ClassTable = Mapping[SegregationClass, Mapping[Drained, tuple[Destination, ...]]]

_COMMON: Mapping[Drained, tuple[Destination, ...]] = {
    Drained.WATER: (Destination.BACKWASH_DRAIN, Destination.RINSE_DRAIN, Destination.NEUTRALIZATION),
    Drained.REGENERANT: (Destination.NEUTRALIZATION, Destination.RECLAIM),
    Drained.BRINE: (Destination.NEUTRALIZATION, Destination.BRINE_SEWER, Destination.RECLAIM),
    Drained.CLEANER: (Destination.NEUTRALIZATION,),
}
_METAL: Mapping[Drained, tuple[Destination, ...]] = dict.fromkeys(Drained, METAL_DESTINATIONS)
_NOTHING: Mapping[Drained, tuple[Destination, ...]] = dict.fromkeys(Drained, ())

CLASS_TABLE: ClassTable = {
    SegregationClass.DEDICATED: _COMMON,
    SegregationClass.POTABLE: _COMMON,
    SegregationClass.HIGH_PURITY: _COMMON,
    SegregationClass.INDUSTRIAL: _COMMON,
    SegregationClass.SUSPECT: _NOTHING,
    SegregationClass.METAL_BEARING: _METAL,
    SegregationClass.REFUSED: _NOTHING,
}
"""The table of the program, and the bounds of a plant's own (``refuse_table``); suspect and refused resin drains nowhere, as it is not regenerated."""

OPEN_CLASSES = tuple(kind for kind, row in CLASS_TABLE.items() if any(row.values()))
"""Classes of which something may drain somewhere; a plant's own table is about these."""


def refuse_table(table: ClassTable) -> None:
    """A plant's own table may only take destinations away or put another one first; what this program forbids stays forbidden.

    Raises: OutOfRange naming the first cell that allows more than ``CLASS_TABLE``, names a destination twice, or is missing.
    """
    for kind, row in CLASS_TABLE.items():
        for drained in Drained:
            cell = f"{drained.label[:1].upper()}{drained.label[1:]} of class {kind.value}"
            found = table.get(kind, {}).get(drained)
            if found is None:
                raise OutOfRange(f"{cell} is missing.", code="cell_missing", field=cell_name(kind, drained))
            if len(set(found)) != len(found):
                raise OutOfRange(
                    f"{cell} names a destination twice.", code="twice", field=cell_name(kind, drained)
                )
            beyond = [item for item in found if item not in row[drained]]
            if beyond:
                most = ", ".join(item.label for item in row[drained]) or "nowhere"
                raise OutOfRange(
                    f"{cell} may not go to: {beyond[0].label}. A plant’s table can only be stricter; at most: {most}.",
                    code="wider_than_safe",
                    field=cell_name(kind, drained),
                    seen=beyond[0].value,
                )


def cell_name(kind: SegregationClass, drained: Drained) -> str:
    """The name of one cell: "d_regenerant"."""
    return f"{kind.value.lower()}_{drained.value}"


def plain_of_table(table: ClassTable) -> dict[str, dict[str, list[str]]]:
    """A table as it is stored: class, what drains, destinations, the usual one first."""
    return {
        kind.value: {drained.value: [item.value for item in table[kind][drained]] for drained in Drained}
        for kind in CLASS_TABLE
    }


def table_of_plain(plain: Mapping[str, Mapping[str, Sequence[str]]]) -> ClassTable:
    """A stored table. What this program forbids by now is left out of it, so an old version never allows more.

    A cell that the version does not know yet is as ``CLASS_TABLE`` has it.
    """
    found: dict[SegregationClass, dict[Drained, tuple[Destination, ...]]] = {}
    for kind, row in CLASS_TABLE.items():
        stored = plain.get(kind.value, {})
        found[kind] = {
            drained: tuple(Destination(item) for item in stored[drained.value] if item in row[drained])
            if drained.value in stored
            else row[drained]
            for drained in Drained
        }
    return found


_CLEANERS = (Chemical.SODIUM_HYPOCHLORITE, Chemical.PERACETIC_ACID, Chemical.SODIUM_DITHIONITE)


def is_metal(segregation_class: str, *, has_metal_flag: bool) -> bool:
    """Whether a waste counts as metal-bearing: by the class, or by what a tank of the batch served."""
    return has_metal_flag or segregation_class == SegregationClass.METAL_BEARING


def allowed(
    segregation_class: str, drained: Drained, *, has_metal_flag: bool = False, table: ClassTable = CLASS_TABLE
) -> tuple[Destination, ...]:
    """Destinations that the class table allows, the usual one first; none where nothing is allowed.

    Raises: OutOfRange for a class nobody knows.
    """
    try:
        row = table[SegregationClass(segregation_class)]
    except ValueError:
        raise OutOfRange(
            f"“{segregation_class}” is no segregation class.", code="unknown_class", field="segregation_class"
        ) from None
    found = row.get(drained, ())
    if not is_metal(segregation_class, has_metal_flag=has_metal_flag):
        return found
    metal = table[SegregationClass.METAL_BEARING].get(drained, ())
    return tuple(item for item in METAL_DESTINATIONS if item in metal) if found else ()


def refusal(
    segregation_class: str,
    drained: Drained,
    destination: Destination,
    *,
    has_metal_flag: bool = False,
    table: ClassTable = CLASS_TABLE,
) -> str:
    """Why this drain may not go there, as a sentence; "" where it may."""
    may = allowed(segregation_class, drained, has_metal_flag=has_metal_flag, table=table)
    if destination in may:
        return ""
    metal = is_metal(segregation_class, has_metal_flag=has_metal_flag)
    who = "metal-bearing resin" if metal else f"class {segregation_class}"
    words = ", ".join(item.label for item in may)
    because = (
        " Metals never enter the waste tank: what is in it is then more than acid or alkaline."
        if metal and destination is Destination.NEUTRALIZATION
        else ""
    )
    return (
        f"{drained.label[:1].upper()}{drained.label[1:]} of {who} may not go to: {destination.label}. "
        f"{f'Allowed: {words}.' if words else 'Nothing is allowed.'}{because}"
    )


def drains_of(steps: Sequence[PlannedStep]) -> dict[int, Drained]:
    """What each draining step drains, by its number; steps that drain nothing are left out."""
    found: dict[int, Drained] = {}
    carried: dict[Leg, Chemical] = {}
    for step in steps:
        if step.kind in CHEMICAL_STEPS and step.chemical is not None:
            carried[step.leg] = step.chemical
        if step.drain_to:
            found[step.number] = _kind_of(step, carried)
        if step.kind is StepKind.FAST_RINSE:
            carried = {}
    return found


def _kind_of(step: PlannedStep, carried: Mapping[Leg, Chemical]) -> Drained:
    """A joined bed carries what either leg did."""
    chemical = carried.get(step.leg) or next(iter(carried.values()), None)
    if step.kind in (StepKind.BACKWASH, StepKind.SEPARATE, StepKind.AIR_MIX) or chemical is None:
        return Drained.WATER
    if chemical in _CLEANERS:
        return Drained.CLEANER
    return Drained.BRINE if chemical is Chemical.SODIUM_CHLORIDE else Drained.REGENERANT


def usual_destination(
    step: PlannedStep,
    drained: Drained,
    segregation_class: str,
    *,
    has_metal_flag: bool = False,
    table: ClassTable = CLASS_TABLE,
) -> Destination | None:
    """Where a step drains when nobody chooses otherwise; None where the table allows nothing."""
    may = allowed(segregation_class, drained, has_metal_flag=has_metal_flag, table=table)
    wanted = _USUAL_WATER.get(step.kind, Destination.RINSE_DRAIN) if drained is Drained.WATER else None
    return wanted if wanted in may else next(iter(may), None)


_USUAL_WATER = {
    StepKind.BACKWASH: Destination.BACKWASH_DRAIN,
    StepKind.SEPARATE: Destination.BACKWASH_DRAIN,
}
