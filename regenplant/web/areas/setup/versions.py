"""What the pages of recipes and specifications share: the marks of a version, the words about it, differences as text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils import timezone

from regenplant import units
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.specification import Limit
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.selectors import people_who_may
from regenplant.recipes.selectors import Difference
from regenplant.web.areas.setup.shown import count
from regenplant.web.drawing.limit_bar import limit_text
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.listing import Chip, chips

MARKS = {
    "draft": ("waiting", "Draft"),
    "approved": ("passed", "Approved"),
    "withdrawn": ("scrapped", "Withdrawn"),
}
"""Mark and word of a version's state."""


SHIPPED = "shipped with the program, signed by nobody"
"""What a plant begins with and has not approved as a version of its own."""


def list_sentence(noun: str, things: Iterable[Any]) -> str:
    """How many there are, and whether a draft waits for its second person."""
    listed = list(things)
    drafts = sum(version.state == "draft" for thing in listed for version in thing.versions.all())
    waits = (
        f"{count(drafts, 'draft waits', 'drafts wait')} for a second person" if drafts else "no draft waits"
    )
    return f"{count(len(listed), noun)}, {waits}."


def family_chips(request: HttpRequest, things: Iterable[Any]) -> list[Chip]:
    """A chip for each family that some recipe or specification is for, in the order of the families."""
    known = {thing.family for thing in things}
    choices = [(family.value, family.abbreviation) for family in ResinFamily if family.value in known]
    return chips(request, "family", choices, "Every family")


def of_family(request: HttpRequest, things: Iterable[Any]) -> list[Any]:
    """Those of the family that the address asks for; all without one."""
    wanted = request.GET.get("family", "")
    return [thing for thing in things if not wanted or thing.family == wanted]


class WithdrawForm(HouseForm):
    reason = words_field(300, rows=2, label="Reason")


def mark_of(version: Any) -> tuple[str, str]:
    return MARKS[version.state]


def version_sentence(version: Any) -> str:
    """Who wrote it, who approved it, since when it holds."""
    wrote = f"Written by {version.made_by.full_name} on {timezone.localtime(version.made_at):%Y-%m-%d}: {version.reason}."
    if version.state == "draft":
        others = people_who_may("recipe.approve", except_pks=[version.made_by_id])[:3]
        who = ", ".join(person.full_name for person in others) or "nobody here yet"
        return f"{wrote} Another person must approve it: {who}."
    if version.approved_by is None:
        return f"{wrote} Withdrawn before anybody approved it."
    since = (
        f"{timezone.localtime(version.effective_from):%Y-%m-%d %H:%M}"
        if version.effective_from
        else "its approval"
    )
    ended = " Withdrawn since." if version.state == "withdrawn" else ""
    return f"{wrote} Approved by {version.approved_by.full_name}, holds from {since}.{ended}"


def point_text(point: SetPoint, kind: str, system: str) -> str:
    """A target in both unit systems."""
    return units.twin(point.target, kind, system)


def range_text(low: float, high: float, kind: str, system: str) -> str:
    """A range in both unit systems: "95 to 110 g/L · 5.93 to 6.87 lb/ft³"."""
    own = f"{units.format_quantity(low, kind, system, with_unit=False)} to {units.format_quantity(high, kind, system)}"
    if not units.has_twin(kind) or kind in ("conductivity", "resistivity"):
        return own
    other = "us" if system == "metric" else "metric"
    twin = f"{units.format_quantity(low, kind, other, with_unit=False)} to {units.format_quantity(high, kind, other)}"
    return f"{own} · {twin}"


def limit_words(limit: Limit, system: str) -> str:
    """A limit in the reader's units, and in the other system where there is one."""
    if limit.table:
        return limit.allowed()
    own = limit_text(limit.low, limit.high, kind=limit.kind, system=system)
    if not units.has_twin(limit.kind):
        return own
    if limit.kind in ("conductivity", "resistivity"):
        ends = [end for end in (limit.low, limit.high) if end is not None]
        return f"{own} · {', '.join(units.other_system(end, limit.kind) for end in ends)}"
    return f"{own} · {limit_text(limit.low, limit.high, kind=limit.kind, system='us' if system == 'metric' else 'metric')}"


def condition_words(limit: Limit, system: str) -> str:
    """What a limit asks for beside its bounds: "on each tank, 2 results in a row over 15 min"; "" for nothing."""
    said = ["on each tank"] if limit.each_tank else []
    if limit.readings_in_row > 1:
        over = (
            f" over {units.format_quantity(limit.hold_time_s, 'duration', system)}"
            if limit.hold_time_s
            else ""
        )
        said.append(f"{limit.readings_in_row} results in a row{over}")
    if limit.minimum_rinse_bv:
        said.append(f"after {units.format_quantity(limit.minimum_rinse_bv, 'bed_volumes', system)}")
    return ", ".join(said)


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """One line of a comparison."""

    where: str
    what: str
    old: str
    new: str


def difference_rows(differences: tuple[Difference, ...], system: str) -> list[DifferenceRow]:
    return [
        DifferenceRow(row.where, row.what, _side(row.old, row.kind, system), _side(row.new, row.kind, system))
        for row in differences
    ]


def _side(value: SetPoint | Limit | str | None, kind: str, system: str) -> str:
    """In the reader's own units only: two systems, struck through, cannot be read; the version's page shows both."""
    if value is None:
        return "not there"
    if isinstance(value, str):
        return value or "empty"
    if isinstance(value, Limit):
        own = (
            value.allowed()
            if value.table
            else limit_text(value.low, value.high, kind=value.kind, system=system)
        )
        beside = (condition_words(value, system), value.method, value.grade)
        return "; ".join(words for words in (own, *beside) if words)
    target = units.format_quantity(value.target, kind, system)
    if value.low == value.high:
        return target
    low = units.format_quantity(value.low, kind, system, with_unit=False)
    return f"{target}, from {low} to {units.format_quantity(value.high, kind, system)}"


def version_choices(versions: list[Any]) -> list[tuple[int, str]]:
    return [(version.number, f"version {version.number}, {version.state}") for version in versions]


_NO_VERSION = {"invalid_choice": "This is no version of it. Choose one of the list."}


class CompareForm(forms.Form):
    """Which two versions are held side by side."""

    old = forms.TypedChoiceField(coerce=int, label="From", error_messages=_NO_VERSION)
    new = forms.TypedChoiceField(coerce=int, label="To", error_messages=_NO_VERSION)

    def __init__(self, *args: Any, versions: list[Any], **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in ("old", "new"):
            self.fields[name].choices = version_choices(versions)  # type: ignore[attr-defined]
