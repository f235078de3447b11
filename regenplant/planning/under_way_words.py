"""What people have to know of batches under way, in sentences with the times of the plant."""

from __future__ import annotations

from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.core.scheduling.under_way import Trouble, TroubleKind
from regenplant.planning.clock import PlanClock


def sentence(trouble: Trouble, clock: PlanClock) -> str:
    """The trouble as a sentence."""
    match trouble.kind:
        case TroubleKind.OVER:
            what, amounts = _amounts(trouble)
            span = f"{clock.words(trouble.from_min)} to {clock.words(trouble.until_min)}"
            return f"What runs now takes more {what} than there is from {span}: {amounts}. See to it before anything is begun."
        case TroubleKind.STANDS:
            return (
                f"{trouble.batch} stands from {clock.words(trouble.from_min)} to {clock.words(trouble.until_min)} before "
                f"“{trouble.stage}”, longer than the {trouble.room:.0f} min it may: sooner there is no time with everything that it needs."
            )
        case TroubleKind.SHORT:
            what, amounts = _amounts(trouble)
            return f"{trouble.batch}: “{trouble.stage}” needs more {what} than there is, {clock.words(trouble.from_min)}: {amounts}."
        case TroubleKind.NEVER:
            return (
                f"{trouble.batch}: for “{trouble.stage}” there is no time in the days that are planned with the people, skid and water "
                "that it needs; its vessel is reckoned as taken until their end."
            )


def _amounts(trouble: Trouble) -> tuple[str, str]:
    """What it is, and how much is taken of how much."""
    kind, _, name = trouble.what.partition(" ")
    if kind == "skid":
        return f"lines of the {Chemical(name).label.lower()} skid", _of(trouble, 0, "")
    if kind == "stock":
        return f"{Chemical(name).label.lower()}, as 100 %,", _of(trouble, 0, " kg")
    if kind == "budget":
        return f"{name} of the day's budget", _of(trouble, 1, " kg")
    if kind == "water":
        return WaterKind(name).label, _of(trouble, 0, " L/min")
    if kind == "waste":
        return "room in the waste tank", _of(trouble, 0, " L")
    return trouble.what, f"{trouble.taken:g} of {trouble.room:g}"


def _of(trouble: Trouble, decimals: int, unit: str) -> str:
    return f"{trouble.taken:,.{decimals}f} of {trouble.room:,.{decimals}f}{unit}".replace(",", " ")
