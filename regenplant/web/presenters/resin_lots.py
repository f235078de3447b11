"""A resin lot in words: its volumes in both forms, what it consists of, where it stands, what came and went."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.batches.resin_volumes import ResinBalance
from regenplant.core.process.resin_lots import LOSS_WATCH_FRAC, forms_with_volume, mean_cycles
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.resins.bodies import (
    NOTHING_M3,
    AgedPart,
    body_m3,
    family_of,
    from_rows,
    in_form_m3,
    mean_age_days,
    stored_m3,
)
from regenplant.resins.elsewhere import Standing
from regenplant.resins.models import LotMovement, ResinLot, ResinType
from regenplant.web.presenters.words import counted

Rows = list[tuple[str, str]]
MOST_PLACES = 12
"""Tanks and vessels named one by one; the others are counted."""


def volume_words(resin_type: ResinType, exhausted_m3: float, system: str) -> str:
    """A volume with each form it is known in: "100 L (3.53 ft³) sodium form = 107 L (3.78 ft³) hydrogen form"."""
    told = [
        f"{units.twin(in_form_m3(resin_type, exhausted_m3, form.value), 'resin_volume', system)} {form.label}"
        for form in forms_with_volume(family_of(resin_type))
    ]
    return " = ".join(told)


def stored_rows(lot: ResinLot, system: str) -> Rows:
    """What an act in the store begins from."""
    stored = stored_m3(lot)
    words = volume_words(lot.resin_type, stored, system) if stored else "nothing, by the book"
    rows = [
        ("In the store now", words),
        ("Key", f"{lot.resin_type.code} of class {lot.segregation_class}" + (f", dedicated to {lot.dedicated_to}" if lot.dedicated_to else "")),
    ]  # fmt: skip
    if lot.needs_conditioning:
        rows.append(
            ("Waits for", "conditioning; until then it is not mixed, and nothing is topped up with it")
        )
    return rows


def bed_rows(resin_type: ResinType, bed_m3: float, system: str) -> Rows:
    """The bed as it was counted last."""
    return [("Bed, counted last", volume_words(resin_type, bed_m3, system))]


def balance_rows(balance: ResinBalance, system: str) -> Rows:
    """The resin of a batch from tanks in to tanks out, all in the exhausted form; empty lines left out."""
    lost = "Lost in this cycle" if balance.is_closed else "Not in tanks yet"
    parts = (
        ("Came in", balance.came_in_m3),
        ("Topped up", balance.topped_up_m3),
        ("Found missing in the bed", balance.lost_in_bed_m3),
        ("Filled into tanks", balance.filled_m3),
        ("Kept in the store", balance.kept_m3),
        ("Cut at the interface", balance.cut_m3),
    )
    rows = [(name, f"{units.twin(volume, 'resin_volume', system)}, exhausted form") for name, volume in parts if abs(volume) > NOTHING_M3]  # fmt: skip
    share = f"{100 * balance.lost_frac:.1f} % of what came in"
    watch = ""
    if balance.is_closed and balance.lost_frac > LOSS_WATCH_FRAC:
        watch = f"; above {100 * LOSS_WATCH_FRAC:.0f} % a cycle somebody looks why (common practice)"
    rows.append((lost, f"{_signed(balance.missing_m3, system)}, {share}{watch}" if balance.is_closed else units.twin(balance.missing_m3, "resin_volume", system)))  # fmt: skip
    return rows


def _signed(volume_m3: float, system: str) -> str:
    """A loss, or how much more was counted."""
    words = units.twin(abs(volume_m3), "resin_volume", system)
    return words if volume_m3 >= 0 else f"{words} more counted than came in"


# --- the page of a lot ------------------------------------------------------------------------------------------------
def lot_rows(lot: ResinLot, parts: Sequence[AgedPart], factor: float, now: datetime, system: str) -> Rows:
    """What a lot is."""
    age, is_least = mean_age_days(parts, now)
    mean = mean_cycles(one.part for one in parts)
    most = max((one.part.cycles_most for one in parts), default=lot.cycles)
    owner = f", dedicated to {lot.dedicated_to}" if lot.dedicated_to else ""
    rows = [
        ("Resin", f"{lot.resin_type.code}, {lot.resin_type.description}"),
        ("Class", f"{lot.segregation_class} · {SegregationClass(lot.segregation_class).label}{owner}"),
        ("Made with", f"{units.twin(lot.volume_m3, 'resin_volume', system)}, {lot.get_volume_form_display()}"),
        ("Origin", lot.origin),
        ("Age, by volume", f"{'at least ' if is_least else ''}{age_words(age)}"),
        ("Regenerations, by volume", f"{mean:.1f}, oldest part {most}"),
        ("Capacity left, of new", units.twin(factor, "fraction", system)),
    ]  # fmt: skip
    if lot.needs_conditioning:
        rows.append(("Waits for", "conditioning: new resin"))
    return rows


def age_words(days: float) -> str:
    """ "12 days", "7 months", "3.4 years"."""
    if days < 60:
        return counted(round(days), "day")
    if days < 730:
        return f"{days / 30.44:.0f} months"
    return f"{days / 365.25:.1f} years"


@dataclass(frozen=True, slots=True)
class PartRow:
    """A delivery in a lot."""

    origin: str
    """Code of its lot; "" for parts too small to tell apart."""
    words: str
    share: str
    age: str
    cycles: str


def part_rows(parts: Iterable[AgedPart], now: datetime) -> list[PartRow]:
    """Of which deliveries a lot consists, largest first."""
    rows = []
    for one in parts:
        part, days = one.part, one.age_days(now)
        least = "at least " if one.is_at_least else ""
        spread = (
            "" if part.cycles_least == part.cycles_most else f" ({part.cycles_least} to {part.cycles_most})"
        )
        words = "" if part.is_recorded else "origin not recorded, met first in this lot"
        if not part.origin:
            words = "parts under 0.05 % each, together"
        rows.append(
            PartRow(
                part.origin,
                words,
                f"{100 * part.share_frac:.1f} %",
                "not known" if days is None else f"{least}{age_words(days)}",
                f"{part.cycles_mean:.1f}{spread}",
            )
        )
    return rows


def deliveries_words(lot: ResinLot, most: int = 3) -> str:
    """ "62 % CAT-H-NEW-1, 38 % CAT-H-NEW-2", the largest first; "" for a lot of an older program, which does not state them."""
    named = [part for part in from_rows(lot.parts) if part.origin]
    told = [f"{100 * part.share_frac:.0f}{units.NO_BREAK_SPACE}% {part.origin}" for part in named[:most]]
    return ", ".join(told) + (f" and {len(named) - most} more" if len(named) > most else "")


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """Where resin of a lot stands."""

    kind: str
    code: str
    where: str
    volume: str


def place_rows(
    lot: ResinLot, stored: float, standing: Sequence[Standing], system: str
) -> tuple[list[PlaceRow], str]:
    """The store first, then vessels and tanks; and what is not named, in words."""

    def told(volume: float) -> str:
        return units.twin(volume, "resin_volume", system)

    rows = [PlaceRow("store", "", "in the store", told(stored))] if stored else []
    order = sorted(standing, key=lambda one: (one.kind, not one.is_in_plant, one.code))
    rows += [PlaceRow(one.kind, one.code, one.where, told(one.exhausted_m3)) for one in order[:MOST_PLACES]]
    rest = order[MOST_PLACES:]
    if not rest:
        return rows, ""
    return (
        rows,
        f"And {counted(len(rest), 'tank')} with {told(sum(one.exhausted_m3 for one in rest))} together.",
    )


def account_rows(
    lot: ResinLot, stored: float, standing: Sequence[Standing], moves: Iterable[LotMovement], system: str
) -> Rows:
    """The whole lot and where it went, in the exhausted form; what batches made of it, or lost, is the rest."""
    whole = body_m3(lot)
    gone: dict[str, float] = {}
    for move in moves:
        gone[move.kind] = gone.get(move.kind, 0.0) - move.exhausted_m3
    here = {name: gone.get(name, 0.0) for name in ("taken", "to_batch", "scrapped", "counted")}
    if "made" in gone:  # what a mixture differed from what went in is part of what was made
        here["counted"] += whole + gone["made"]
    standing_m3 = sum(one.exhausted_m3 for one in standing)
    rest = (
        whole - stored - standing_m3 - here["taken"] - here["to_batch"] - here["scrapped"] - here["counted"]
    )
    parts = (
        ("Made or received", whole),
        ("In the store", stored),
        ("In tanks and vessels", standing_m3),
        ("Taken into other lots", here["taken"]),
        ("Topped up into beds", here["to_batch"]),
        ("Scrapped out of the store", here["scrapped"]),
        ("Missing by counts" if here["counted"] > 0 else "More by counts", abs(here["counted"])),
        ("Went on through batches, or lost", rest),
    )
    return [(name, f"{units.twin(volume, 'resin_volume', system)}") for name, volume in parts if abs(volume) > NOTHING_M3]  # fmt: skip


def move_rows(moves: Iterable[LotMovement], system: str) -> list[dict[str, object]]:
    """Movements of the store, newest first."""
    return [
        {
            "at": move.moved_at,
            "what": move.get_kind_display(),
            "lot": move.other_lot.code if move.other_lot else "",
            "reference": move.reference,
            "volume": f"{'+' if move.exhausted_m3 > 0 else '−' if move.exhausted_m3 < 0 else ''}{units.twin(abs(move.exhausted_m3), 'resin_volume', system)}",
            "counted": f"{units.twin(move.volume_m3, 'resin_volume', system)}, {move.get_volume_form_display()}",
            "by": move.moved_by,
            "reason": move.reason,
        }
        for move in moves
    ]
