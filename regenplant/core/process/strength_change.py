"""How the strength that a dose is worked out with came about, and whether it still stands in the tank when the batch starts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from regenplant.core.process.plan import BatchPlan, StockData, StrengthPart
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.wording import listed, say


@dataclass(frozen=True, slots=True)
class StrengthChange:
    """One chemical that is drawn at another strength now than the dose was worked out with."""

    planned: StockData
    now: StockData
    limit_frac: float

    @property
    def chemical(self) -> Chemical:
        return self.planned.chemical

    @property
    def change_frac(self) -> float:
        """Share by which the dose would come out otherwise [-]; above zero: too much."""
        return self.now.strength_frac / self.planned.strength_frac - 1.0

    @property
    def sentence(self) -> str:
        """Both strengths, what that makes of the dose, and how far it may be off."""
        way = "too much" if self.change_frac > 0 else "too little"
        return (
            f"{self.chemical.label}: the dose was worked out with {say(self.planned.strength_frac, 'strength')} "
            f"({source_words(self.planned)}); {say(self.now.strength_frac, 'strength')} stands in the tank now "
            f"({source_words(self.now)}). That gives {say(abs(self.change_frac), 'fraction')} {way}, at most "
            f"{say(self.limit_frac, 'fraction')} is allowed."
        )


def source_words(stock: StockData) -> str:
    """ "lot AC-1 with AC-2 on top"."""
    added = f" with {listed(stock.added_lots)} on top" if stock.added_lots else ""
    return f"lot {stock.lot_code}{added}"


METHODS = {"density": "hydrometer", "baume": "hydrometer in degrees Baumé", "titration": "titration"}
"""How the plant checks a strength, in words."""


def origin_words(stock: StockData, when: Callable[[str], str]) -> tuple[str, ...]:
    """How a strength came about, one sentence for the check and one for each delivery on top; ``when`` writes a moment."""
    if not stock.parts:
        return _short_origin(stock, when)
    return tuple(_part_words(part, when) for part in stock.parts)


def _part_words(part: StrengthPart, when: Callable[[str], str]) -> str:
    found = say(part.strength_frac, "strength")
    if not part.is_delivery:
        how = METHODS.get(part.method, part.method)
        return f"Lot {part.lot_code} was checked {when(part.at)} by {how}: {found}."
    return (
        f"{part.lot_code} came on top {when(part.at)}: {say(part.kg_100, 'mass')} as 100 % at {found} by its sample, onto "
        f"{say(part.left_kg_100, 'mass')} as 100 %. Together {say(part.gives_frac, 'strength')}."
    )


def _short_origin(stock: StockData, when: Callable[[str], str]) -> tuple[str, ...]:
    """Of a plan that was frozen before the parts were kept, and of a stock nobody checked."""
    if not stock.checked_at:
        return (f"Lot {stock.lot_code} was never checked at the plant.",)
    words = f"Lot {stock.lot_code} was checked {when(stock.checked_at)}."
    if not stock.added_lots:
        return (words,)
    return (words, f"{listed(stock.added_lots)} came on top since, by mass balance.")


def strength_changes(
    plan: BatchPlan, now: Mapping[str, StockData], limit_frac: float
) -> tuple[StrengthChange, ...]:
    """The chemicals a plan feeds whose strength in the tank has moved by more than ``limit_frac`` of the planned one [-].

    A chemical that is not in stock any more, or whose strength nobody knows, is left out: the checks of a plan stop that.
    """
    found: dict[str, StrengthChange] = {}
    for step in plan.steps:
        key = step.chemical.value if step.chemical else ""
        planned, present = plan.request.stock.get(key), now.get(key)
        if planned is None or present is None or present.check_age_days is None:
            continue
        change = StrengthChange(planned, present, limit_frac)
        if abs(change.change_frac) > limit_frac:
            found.setdefault(key, change)
    return tuple(found.values())
