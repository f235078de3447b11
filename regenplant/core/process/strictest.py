"""One specification for a batch whose tanks go to several customers: of every limit the strictest, and where each comes from.

Nothing is averaged and nothing is dropped: what one customer asks to be measured is measured for all, because the resin is one.
Where two specifications cannot both be met, the tanks do not belong into one batch.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from regenplant.core.errors import PlanRefused
from regenplant.core.process.specification import Limit, Specification, keeps_within, reaches
from regenplant.core.process.wording import listed, say


@dataclass(frozen=True, slots=True)
class Part:
    """One specification that holds for some of the tanks."""

    name: str
    """Code and version: "Q-MB version 2"."""
    specification: Specification


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one figure of the worked-out specification comes from."""

    what: str
    """Name of the measurement, or "Rinse"."""
    rule: str
    """Which figure in words: "at most", "hold time"."""
    kind: str
    """Quantity kind; "" where ``words`` says it."""
    value: float | None
    words: str
    sources: tuple[str, ...]
    """Names of the parts that say so."""


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """The strictest of several specifications, figure by figure."""

    specification: Specification
    parts: tuple[str, ...]
    origins: tuple[Origin, ...]


def work_out(parts: Sequence[Part]) -> WorkedOut:
    """The strictest of all parts. The first gives its code, and its name where there is no other.

    Parameters
    ----------
    parts : Sequence
        At least one; all of one family

    Returns
    -------
    worked_out : WorkedOut
        With the origin of every figure

    Raises: PlanRefused where two cannot both be met (another family, another kind of trace, bounds that exclude each other).
    """
    if not parts:
        raise PlanRefused("No specification is named for these tanks.", code="no_specification")
    first = parts[0].specification
    _refuse_unlike(parts)
    origins: list[Origin] = []
    limits = tuple(_limit(key, parts, origins) for key in _keys(parts))
    rinse = dict(_rinse(parts, origins))
    most = rinse.get("maximum_rinse_bv")
    least = max([rinse["minimum_rinse_bv"], *(limit.minimum_rinse_bv for limit in limits)])
    if most is not None and most <= least:
        raise PlanRefused(
            f"One specification asks for at least {say(least, 'bed_volumes')} of rinse, another for less than "
            f"{say(most, 'bed_volumes')}. These tanks are not made in one batch.",
            code="rinse_excludes",
        )
    names = tuple(part.name for part in parts)
    whole = replace(
        first,
        name=first.name if len(parts) == 1 else f"Strictest of {listed(names)}"[:120],
        limits=limits,
        notes=first.notes,
        **rinse,
    )
    return WorkedOut(whole, names, tuple(origins))


def is_stricter_or_equal(own: Specification, other: Specification) -> bool:
    """Whether what meets ``own`` meets ``other`` too."""
    return not looser(own, other)


def looser(own: Specification, other: Specification) -> tuple[str, ...]:
    """Where ``own`` asks for less than ``other``, in words; empty where it is as strict everywhere."""
    found: list[str] = []
    for limit in other.limits:
        mine = own.limit(limit.measurement)
        if mine is None:
            found.append(f"{limit.name} is not limited there; here it is {limit.allowed()}")
        else:
            found.extend(_looser_limit(mine, limit))
    for field, rule, kind, is_more_stricter in _RINSE:
        mine_value, theirs = getattr(own, field), getattr(other, field)
        if theirs is None:
            continue
        if mine_value is None or (mine_value < theirs if is_more_stricter else mine_value > theirs):
            shown = "none" if mine_value is None else say(mine_value, kind)
            found.append(f"{rule} is {shown} there; here it is {say(theirs, kind)}")
    if own.compensation is not other.compensation:
        found.append("the trace in the water is another there")
    return tuple(found)


def _looser_limit(mine: Limit, theirs: Limit) -> Iterator[str]:
    if mine.kind != theirs.kind or bool(mine.table) != bool(theirs.table):
        yield f"{theirs.name} is measured otherwise there"
        return
    low = theirs.low is not None and (mine.low is None or not reaches(mine.low, theirs.low))
    high = theirs.high is not None and (mine.high is None or not keeps_within(mine.high, theirs.high))
    table = bool(theirs.table) and mine.table != theirs.table and _merged_table(mine, theirs) != mine.table
    if low or high or table:
        yield f"{theirs.name} is {mine.allowed()} there; here it is {theirs.allowed()}"
    if theirs.each_tank and not mine.each_tank:
        yield f"{theirs.name} is measured once there; here it is measured on each tank"
    for field, rule, kind in _CONDITIONS:
        if getattr(mine, field) < getattr(theirs, field):
            yield (
                f"{theirs.name}, {rule}: {say(getattr(mine, field), kind)} there; here "
                f"{say(getattr(theirs, field), kind)}"
            )


# --- limit by limit -------------------------------------------------------------------------------------------------
_CONDITIONS = (
    ("readings_in_row", "results in a row", "count"),
    ("hold_time_s", "hold time", "duration"),
    ("minimum_rinse_bv", "least rinse", "bed_volumes"),
)
"""Conditions of one limit of which the larger is the stricter: field, words, quantity kind."""

_RINSE: tuple[tuple[str, str, str, bool], ...] = (
    ("minimum_rinse_bv", "least rinse", "bed_volumes", True),
    ("maximum_rinse_bv", "most rinse", "bed_volumes", False),
    ("hold_time_s", "hold time", "duration", True),
    ("consecutive_readings", "consecutive readings", "count", True),
    ("longest_gap_s", "longest gap between readings", "duration", False),
    ("meter_uncertainty_frac", "stated uncertainty of the meter", "fraction", False),
    ("jump_factor", "jump that no water makes", "ratio", False),
)
"""Figures of the rinse: field, words, quantity kind, whether the larger is the stricter."""


def _keys(parts: Sequence[Part]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(limit.measurement for part in parts for limit in part.specification.limits))


def _refuse_unlike(parts: Sequence[Part]) -> None:
    first = parts[0]
    for other in parts[1:]:
        if other.specification.family is not first.specification.family:
            raise PlanRefused(
                f"{first.name} is for {first.specification.family.label}, {other.name} for {other.specification.family.label}.",
                code="other_family",
            )
        if other.specification.compensation is not first.specification.compensation:
            raise PlanRefused(
                f"{first.name} takes the trace in the water for {first.specification.compensation.value}, {other.name} for "
                f"{other.specification.compensation.value}; a reading cannot be brought to 25 °C in both ways.",
                code="other_trace",
            )


def _limit(key: str, parts: Sequence[Part], origins: list[Origin]) -> Limit:
    own = [(part.name, limit) for part in parts if (limit := part.specification.limit(key)) is not None]
    name, merged = own[0]
    for other_name, other in own[1:]:
        if other.kind != merged.kind or other.basis is not merged.basis:
            raise PlanRefused(
                f"{merged.name}: {name} and {other_name} measure it in different ways. These tanks are not made in one batch.",
                code="limits_unlike",
            )
        merged = _both(merged, other)
    origins.extend(_origins(merged, own))
    return merged


def _both(one: Limit, other: Limit) -> Limit:
    methods = [method for method in dict.fromkeys((one.method, other.method)) if method]
    grades = [grade for grade in dict.fromkeys((one.grade, other.grade)) if grade]
    high = _least(one.high, other.high)
    low = _most(one.low, other.low)
    if low is not None and high is not None and low > high:
        raise PlanRefused(
            f"{one.name}: one specification asks for at least {say(low, one.kind)}, another for at most {say(high, one.kind)}. "
            "These tanks are not made in one batch.",
            code="limits_exclude",
        )
    return replace(
        one,
        low=low,
        high=high,
        table=_merged_table(one, other),
        source=one.source if (low, high) == (one.low, one.high) else other.source,
        method="; ".join(methods),
        grade="; ".join(grades),
        each_tank=one.each_tank or other.each_tank,
        readings_in_row=max(one.readings_in_row, other.readings_in_row),
        hold_time_s=max(one.hold_time_s, other.hold_time_s),
        minimum_rinse_bv=max(one.minimum_rinse_bv, other.minimum_rinse_bv),
    )


def _merged_table(one: Limit, other: Limit) -> tuple[tuple[float, ...], ...]:
    """At every temperature that either names, the lower of what both allow there."""
    if not one.table or not other.table or one.table == other.table:
        return one.table or other.table
    begin = max(one.table[0][0], other.table[0][0])
    kelvins = sorted({row[0] for table in (one.table, other.table) for row in table if row[0] >= begin})
    return tuple((kelvin, min(_at(one.table, kelvin), _at(other.table, kelvin))) for kelvin in kelvins)


def _at(table: tuple[tuple[float, ...], ...], kelvin: float) -> float:
    return [row[1] for row in table if row[0] <= kelvin][-1]


def _least(*values: float | None) -> float | None:
    return min((value for value in values if value is not None), default=None)


def _most(*values: float | None) -> float | None:
    return max((value for value in values if value is not None), default=None)


def _origins(merged: Limit, own: Sequence[tuple[str, Limit]]) -> Iterator[Origin]:
    def of(field: str, value: Any) -> tuple[str, ...]:
        return tuple(name for name, limit in own if getattr(limit, field) == value)

    name, kind = merged.name, merged.kind
    if merged.low is not None:
        yield Origin(name, "at least", kind, merged.low, "", of("low", merged.low))
    if merged.high is not None:
        yield Origin(name, "at most", kind, merged.high, "", of("high", merged.high))
    if merged.table:
        whose = of("table", merged.table) or tuple(name for name, _ in own)
        yield Origin(name, "by temperature", "", None, "the lower of each row", whose)
    if merged.each_tank:
        yield Origin(name, "measured", "", None, "on each tank", of("each_tank", True))
    if merged.readings_in_row > 1:
        yield Origin(
            name,
            "results in a row",
            "count",
            float(merged.readings_in_row),
            "",
            of("readings_in_row", merged.readings_in_row),
        )
    if merged.hold_time_s > 0.0:
        yield Origin(
            name, "hold time", "duration", merged.hold_time_s, "", of("hold_time_s", merged.hold_time_s)
        )
    if merged.minimum_rinse_bv > 0.0:
        yield Origin(name, "least rinse", "bed_volumes", merged.minimum_rinse_bv, "", of("minimum_rinse_bv", merged.minimum_rinse_bv))  # fmt: skip


def _rinse(parts: Sequence[Part], origins: list[Origin]) -> Iterator[tuple[str, Any]]:
    for field, rule, kind, is_more_stricter in _RINSE:
        values = [getattr(part.specification, field) for part in parts]
        known = [value for value in values if value is not None]
        if not known:
            yield field, None
            continue
        value = max(known) if is_more_stricter else min(known)
        whose = tuple(part.name for part, own in zip(parts, values, strict=True) if own == value)
        origins.append(Origin("Rinse", rule, kind, float(value), "", whose))
        yield field, value
