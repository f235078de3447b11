"""A handover in words: the opening sentence, lines with their pages, items with where they came from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from regenplant.plant.handed_on import LiveLine, LiveSection
from regenplant.shifts.live import LiveState
from regenplant.shifts.models import Handover, HandoverItem
from regenplant.shifts.selectors import SignedItem
from regenplant.web import codes
from regenplant.web.presenters.bed import moment_words
from regenplant.web.presenters.words import counted, sentence_case

PAGES = {
    "planned_batch": "planned-batch",
    "day_plan": "day-plan",
    "batch": "batches-detail",
    "vessel": "setup-vessel",
    "skid": "setup-skid",
    "deviation": "review-deviation",
    "tank": "tanks-detail",
    "instrument": "setup-instrument",
    "chemicals": "chemicals",
    "stock_count": "chemicals-count",
    "emergency": "emergency",
    "alerts": "alerts",
    "paper_form": "paper-forms-form",
    "trend": "trends-lot",
    "discharge": "waste-discharge",
    "excursion": "waste-excursion",
    "near_miss": "safety-near-miss",
}
KIND_LABELS = dict(HandoverItem.Kind.choices)


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line of the state. ``tone`` is "amber" where a person is needed; ``mark`` is the shape beside it."""

    what: str
    words: str
    timing: str
    tone: str
    mark: str
    url: str


@dataclass(frozen=True, slots=True)
class SectionRow:
    title: str
    lines: tuple[LineRow, ...]
    nothing: str


@dataclass(frozen=True, slots=True)
class ItemRow:
    id: int
    kind: str
    words: str
    about: str
    url: str
    opened: str
    since: str
    is_safety: bool


def section_rows(state: LiveState) -> list[SectionRow]:
    return [_section(section) for section in state.sections]


QUIET_MARKS = {"batches": "running", "waiting": "awaiting_qc", "eyewash": "done", "waste": "done"}
"""The shape of a line that needs nobody, by its section."""


def _section(section: LiveSection) -> SectionRow:
    quiet = QUIET_MARKS.get(section.key, "waiting")
    return SectionRow(section.title, tuple(line_row(line, quiet) for line in section.lines), section.nothing)


def line_row(line: LiveLine, quiet: str = "waiting") -> LineRow:
    """A line with its shape: a padlock, a call for a person, else ``quiet``."""
    is_lock = line.is_hazard and line.kind in ("vessel", "skid")
    is_held = line.kind == "batch" and line.needs_person and not line.is_hazard
    mark = "locked" if is_lock else "held" if is_held else "check" if line.needs_person else quiet
    tone = "amber" if line.needs_person or line.is_hazard else ""
    return LineRow(line.what, line.words, line.timing, tone, mark, _url(line.kind, line.key))


def _url(kind: str, key: str) -> str:
    page = PAGES.get(kind)
    if page is None:
        return ""
    return reverse(page, args=[key]) if key else reverse(page)


def item_rows(items: Iterable[HandoverItem], now: datetime) -> list[ItemRow]:
    """Open items as they stand now."""
    return [
        ItemRow(
            item.pk,
            sentence_case(item.get_kind_display()),
            item.words,
            item.about,
            _code_url(item.about),
            f"{item.opened_by.full_name}, {moment_words(item.opened_at, now)}",
            f"since {item.first_handover.number}" if item.first_handover else "new in this shift",
            item.kind == HandoverItem.Kind.SAFETY,
        )
        for item in items
    ]


def signed_item_rows(items: Iterable[SignedItem], now: datetime) -> list[ItemRow]:
    """Items as they stood in a handover."""
    return [
        ItemRow(
            item.id,
            sentence_case(KIND_LABELS.get(item.kind, item.kind)),
            item.words,
            item.about,
            _code_url(item.about),
            f"{item.opened_by}, {moment_words(datetime.fromisoformat(item.opened_at), now)}",
            f"since {item.since}" if item.since else "new in this shift",
            item.kind == HandoverItem.Kind.SAFETY,
        )
        for item in items
    ]


def _code_url(about: str) -> str:
    found = codes.find(about) if about else None
    return found.url if found else ""


def draft_sentence(state: LiveState, items: int, newest: Handover | None, now: datetime) -> str:
    """What the leaving person hands over, in one sentence or three."""
    since = (
        f" Last handover {newest.number}, {moment_words(newest.handed_at, now)}."
        if newest
        else " No shift was handed over yet."
    )
    return f"{_weight(state)} {sentence_case(counted(items, 'open item'))} carr{'y' if items > 1 else 'ies'} on.{since}"


def _weight(state: LiveState) -> str:
    hazards = len(state.hazards)
    if not hazards:
        return "No chemical in a bed, no lock, no overdue eyewash."
    return f"{sentence_case(counted(hazards, 'hazard'))} to look at on the floor."


def handover_sentence(handover: Handover, state: LiveState, now: datetime) -> str:
    """Who handed over, who took it."""
    handed = f"{handover.handed_by.full_name} signed it {moment_words(handover.handed_at, now)}."
    if handover.taken_by is None or handover.taken_at is None:
        return f"{handed} Nobody has taken it over yet. {_weight(state)}"
    return f"{handed} {handover.taken_by.full_name} took it over {moment_words(handover.taken_at, now)}."
