"""The bench calculator as a person reads it: the list of quantities, and an answer in the person's units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from django.http import QueryDict
from django.utils.text import slugify

from regenplant import units
from regenplant.bench.answers import Answered, shown_number
from regenplant.bench.listing import by_group
from regenplant.core.bench.quantity import Quantity
from regenplant.core.engineering.estimate import Estimate
from regenplant.web.presenters.words import sentence_case
from regenplant.working import uncertainty_of


@dataclass(frozen=True, slots=True)
class QuantityRow:
    """One quantity in the list."""

    key: str
    title: str
    what: str
    is_current: bool


@dataclass(frozen=True, slots=True)
class GroupView:
    """One group of quantities; open where it holds the one on the page, or was found."""

    title: str
    rows: tuple[QuantityRow, ...]
    is_open: bool

    @property
    def ident(self) -> str:
        return f"g-{slugify(self.title)}"


def groups(*, current: Quantity | None = None, find: str = "") -> list[GroupView]:
    """All groups, or what holds every word looked for."""
    wanted = find.lower().split()
    shown: list[GroupView] = []
    for group, members in by_group().items():
        rows = tuple(
            QuantityRow(member.key, member.title, member.what, member is current)
            for member in members
            if all(word in _searched(member) for word in wanted)
        )
        if rows:
            is_open = bool(wanted) or (current is not None and current.group is group)
            shown.append(GroupView(sentence_case(group.value), rows, is_open))
    return shown


def _searched(quantity: Quantity) -> str:
    return " ".join((quantity.title, quantity.what, quantity.key, *quantity.aliases)).lower()


def opening(find: str) -> str:
    """The first sentence of the list."""
    count = sum(len(group.rows) for group in groups(find=find))
    if not find:
        return f"{count} quantities, worked out from what you type. Nothing here is written down; the address keeps it."
    return f"{count} {'quantity holds' if count == 1 else 'quantities hold'} “{find}”."


@dataclass(frozen=True, slots=True)
class OtherView:
    """A further figure of the same calculation."""

    name: str
    estimate: Estimate
    shown: str


@dataclass(frozen=True, slots=True)
class AnswerView:
    """An answer, large, with all that belongs to it."""

    name: str
    value: str
    unit: str
    other: str
    in_stated_unit: str
    uncertainty: str
    sentence: str
    warnings: tuple[str, ...]
    estimate: Estimate
    inputs: tuple[tuple[str, str], ...]
    others: tuple[OtherView, ...]


def answer_view(found: Answered, system: str) -> AnswerView:
    """The answer in the person's units, with the stated unit of the command beside it."""
    main = found.answer.main
    stated = shown_number(main.value, main.unit, found.unit)
    if main.kind:
        value, unit = _shown(main.value, main.kind, system)
        other = units.other_system(main.value, main.kind, system)
    else:
        value, unit, other = units.format_number(stated or 0.0, digits=6, decimals=6), found.unit, ""
    if stated is None:
        value, unit, other = "never", "", ""
    return AnswerView(
        name=sentence_case(main.name),
        value=value,
        unit=unit,
        other=other,
        in_stated_unit="never" if stated is None else f"{stated:.6g} {found.unit.strip('-')}".strip(),
        uncertainty=_uncertainty(main, system),
        sentence=found.answer.sentence,
        warnings=(*main.warnings, *found.notes),
        estimate=main,
        inputs=tuple(_inputs(found, system)),
        others=tuple(
            OtherView(sentence_case(figure.name), figure, _both(figure, system))
            for figure in found.answer.others.values()
        ),
    )


_SHORT_S = 600.0
"""Below ten minutes a time is shown in seconds here: a bead that falls for 52 s does not fall for "1 min"."""


def _shown(value: float, kind: str, system: str) -> tuple[str, str]:
    """Number and unit of a figure of the bench."""
    if kind == "duration" and 0.0 < abs(value) < _SHORT_S:
        return units.format_number(value, digits=3, decimals=2), "s"
    return units.format_quantity(value, kind, system, with_unit=False), units.unit_text(kind, system)


def _in_words(value: float, kind: str, system: str) -> str:
    number, unit = _shown(value, kind, system)
    return f"{number}{units.NO_BREAK_SPACE}{unit}" if unit else number


def _both(figure: Estimate, system: str) -> str:
    if figure.kind == "duration":
        return _in_words(figure.value, figure.kind, system)
    if figure.kind:
        return units.twin(figure.value, figure.kind, system)
    return f"{figure.value:.6g} {units.plain_unit(figure.unit)}"


def _uncertainty(main: Estimate, system: str) -> str:
    """ "about ±15 %: 10.3 m/h to 14.0 m/h"."""
    spread = main.spread()
    if not spread or not math.isfinite(main.value):
        return ""
    text = uncertainty_of(main, system)
    is_share = main.uncertainty_abs is None
    if not main.kind or (is_share and (main.uncertainty_frac or 0.0) >= 1.0):
        return text
    low, high = (
        _in_words(main.value - spread, main.kind, system),
        _in_words(main.value + spread, main.kind, system),
    )
    return f"{low} to {high}" if main.kind in ("temperature", "ph") else f"{text}: {low} to {high}"


def _inputs(found: Answered, system: str) -> list[tuple[str, str]]:
    """What was typed and what it was understood as; ions that are not there are left out."""
    rows = []
    for read in found.inputs.values():
        is_idle = read.value == 0.0 and (read.spec.default or "").startswith("0 ")
        if read.value is None or is_idle:
            continue
        label = sentence_case(read.spec.label)
        if isinstance(read.value, float) and read.spec.kind in units.KINDS:
            rows.append((label, units.twin(read.value, read.spec.kind, system)))
        else:
            words = {choice.value: choice.label for choice in read.spec.choices}
            rows.append((label, words.get(str(read.value), read.text)))
    return rows


def query(given: Mapping[str, str], system: str) -> str:
    """Inputs as the end of an address."""
    asked = QueryDict(mutable=True)
    asked["units"] = system
    for name, value in given.items():
        asked[name] = value
    return asked.urlencode()
