"""Down to a lower product: which specification is lower, and which class may go down to which. Never up, and once.

A lower specification asks for the same family, is in no limit stricter than the one the batch was planned for, and is laxer in at least
one of them, or the class goes down. Numbers of grades are no ranking; limits are compared one by one.
"""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.core.process.specification import Limit, Specification, keeps_within, reaches
from regenplant.core.process.vocabulary import SegregationClass

GOES_DOWN: dict[SegregationClass, tuple[SegregationClass, ...]] = {
    SegregationClass.HIGH_PURITY: (SegregationClass.INDUSTRIAL,),
}
"""Class C goes down to D, once, with a record. Dedicated resin goes back to its customer; potable stays apart; nothing goes up."""


def classes_below(present: SegregationClass) -> tuple[SegregationClass, ...]:
    """The class itself and those it may go down to."""
    return (present, *GOES_DOWN.get(present, ()))


def why_not_lower(
    present: Specification, lower: Specification, from_class: SegregationClass, to_class: SegregationClass
) -> tuple[str, ...]:
    """Sentences: why this is no way down; empty when it is."""
    return tuple(_against(present, lower, from_class, to_class))


def _against(
    present: Specification, lower: Specification, from_class: SegregationClass, to_class: SegregationClass
) -> Iterator[str]:
    if lower.family is not present.family:
        yield (
            f"{lower.code} is for {lower.family.label}, the batch is {present.family.label}. Resins never change their family."
        )
        return
    if to_class not in classes_below(from_class):
        allowed = GOES_DOWN.get(from_class, ())
        may = f"goes down to {' or '.join(allowed)} only" if allowed else "goes down to no other class"
        yield f"Class {from_class} {may}; {to_class} was chosen. A class never goes up."
    if from_class is SegregationClass.DEDICATED:
        yield "Dedicated resin goes back to its own customer as it was ordered. It is reworked or scrapped, not downgraded."
    stricter = [limit for limit in lower.limits if _is_stricter(limit, present.limit(limit.measurement))]
    for limit in stricter:
        before = present.limit(limit.measurement)
        assert before is not None
        yield (
            f"{lower.code} is not lower: {limit.name} is {limit.allowed()} there, and {before.allowed()} in {present.code}. "
            "Nothing is upgraded."
        )
    if not stricter and to_class is from_class and not is_laxer(present, lower):
        yield f"{lower.code} asks for as much as {present.code}. That is no downgrade; judge it by its own specification."


def is_laxer(present: Specification, lower: Specification) -> bool:
    """Whether at least one limit of the present specification is wider in the lower one, or not asked for there."""
    return any(
        (other := lower.limit(limit.measurement)) is None or _is_stricter(limit, other)
        for limit in present.limits
    )


def _is_stricter(limit: Limit, than: Limit | None) -> bool:
    """Whether ``limit`` allows less than the other. A table for uncompensated readings and a limit at 25 °C are not compared: each
    counts as stricter than the other, so neither is taken for lower."""
    if than is None:
        return False
    if limit.basis is not than.basis:
        return True
    if limit.table or than.table:
        return _table_is_stricter(limit, than)
    low = limit.low is not None and (than.low is None or not keeps_within(limit.low, than.low))
    high = limit.high is not None and (than.high is None or not reaches(limit.high, than.high))
    return low or high


def _table_is_stricter(limit: Limit, than: Limit) -> bool:
    rows = {row[0]: row[1] for row in than.table}
    if {row[0] for row in limit.table} != set(rows):
        return True
    return any(not reaches(row[1], rows[row[0]]) for row in limit.table)
