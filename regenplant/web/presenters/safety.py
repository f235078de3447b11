"""The safety desk in words: what waits, what stands in quarantine, when showers and eyewashes are due."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from regenplant.chemicals.models import Unloading
from regenplant.chemicals.selectors import deliveries
from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.safety.models import NearMiss, WashTest
from regenplant.safety.selectors import StationStanding, near_misses, open_near_misses
from regenplant.tanks.models import TankVisit
from regenplant.web.presenters.safety_calls import Call
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case

SHOWN_STOPS = 50
"""Stopped deliveries on the page of near misses; older ones stand under Chemicals."""


@dataclass(frozen=True, slots=True)
class QuarantineRow:
    """One tank that stands here and goes nowhere."""

    visit: TankVisit
    state: str
    what: str
    words: str
    since: str
    url: str
    is_refused: bool


@dataclass(frozen=True, slots=True)
class StationRow:
    """One shower or eyewash with its days."""

    code: str
    what: str
    spot: str
    weekly: str
    weekly_due: str
    yearly_due: str
    symbol: str
    word: str


# --- the page ---------------------------------------------------------------------------------------------------------
def desk_sentence(calls: Sequence[Call], tanks: Sequence[QuarantineRow]) -> str:
    """ "3 things wait for a person. 2 tanks stand in quarantine."."""
    waits = (
        f"{sentence_case(counted(len(calls), 'thing'))} {'waits' if len(calls) == 1 else 'wait'} for a person."
        if calls
        else "Nothing waits for a person."
    )
    verb = "stands" if len(tanks) == 1 else "stand"
    stands = f" {sentence_case(counted(len(tanks), 'tank'))} {verb} in quarantine." if tanks else ""
    return f"{waits}{stands}"


def wash_calls(standings: Iterable[StationStanding], overdue: str) -> list[Call]:
    """Stations that fail or are overdue; without any, the plant's own test when that is overdue."""
    url, action = reverse("safety-washing-round"), "Write a round"
    calls = [
        Call(
            f"{row.station.code}, {row.station.spot}.",
            _station_problem(row),
            url if row.is_weekly_overdue or row.is_failing else reverse("safety-washing-inspect", args=[row.station.code]),
            action if row.is_weekly_overdue or row.is_failing else "Write the inspection",
            "red" if row.is_failing else "amber",
            "refused" if row.is_failing else "overdue",
        )
        for row in standings
        if row.calls
    ]  # fmt: skip
    if overdue:
        calls.insert(0, Call("Showers and eyewashes.", overdue, url, action, "amber", "overdue"))
    return calls


def _station_problem(row: StationStanding) -> str:
    failed = next(
        (test for test in (row.weekly, row.yearly) if test is not None and not test.is_working), None
    )
    if failed is not None:
        return f"Did not work on {failed.tested_on}: {failed.note} No chemical starts until it does."
    if row.is_weekly_overdue:
        return f"The test was due {row.weekly_due}." if row.weekly_due else "It was never tested."
    return (
        f"The yearly inspection was due {row.yearly_due}."
        if row.yearly_due
        else "No yearly inspection is written down."
    )


def near_miss_calls(rows: Iterable[NearMiss], today: date) -> list[Call]:
    """Near misses without an answer, and follow-ups past their day."""
    calls = []
    for row in rows:
        url = reverse("safety-near-miss", args=[row.number])
        title = f"{row.number}, {row.get_kind_display()}, {row.spot}."
        if row.answered_at is None:
            calls.append(Call(title, f"{row.what} Waits for an answer.", url, "See to it"))
        elif row.due_on is not None and row.due_on < today:
            calls.append(
                Call(title, f"{row.follow_up} Was due {row.due_on}.", url, "See to it", symbol="overdue")
            )
    return calls  # fmt: skip


def follow_ups(rows: Iterable[NearMiss], today: date) -> list[NearMiss]:
    """Follow-ups that are not done and not past their day, the next one first."""
    found = [
        row for row in rows if row.answered_at is not None and row.due_on is not None and row.due_on >= today
    ]
    return sorted(found, key=lambda row: (row.due_on or today, row.number))  # fmt: skip


# --- quarantine -------------------------------------------------------------------------------------------------------
def quarantine_rows(visits: Iterable[TankVisit]) -> list[QuarantineRow]:
    return [_quarantined(visit) for visit in visits]


def _quarantined(visit: TankVisit) -> QuarantineRow:
    is_refused = visit.state == VisitState.REFUSED.value
    page = "safety-refused-one" if is_refused else "intake-visit"
    bay = f"bay {visit.bay}" if visit.bay else "no bay is written down"
    return QuarantineRow(
        visit=visit,
        state=visit.state,
        what=f"{visit.tank.serial} from {visit.customer.name}",
        words=visit.reason,
        since=f"{bay}, here since {timezone.localtime(visit.received_at):%Y-%m-%d}",
        url=reverse(page, args=[visit.number])
        if visit.state != VisitState.WITHDRAWN.value
        else reverse("tanks-detail", args=[visit.tank.serial]),
        is_refused=is_refused,
    )


def refused_facts(visit: TankVisit) -> list[tuple[str, Any]]:
    """A refused tank in pairs, for its page and for the act that lets it go."""
    own = SegregationClass(visit.segregation_class or visit.tank.segregation_class)
    away = getattr(visit, "refused_away", None)
    rows: list[tuple[str, Any]] = [
        ("Why refused", visit.reason),
        ("Tank", f"{visit.tank.size.code} in, {visit.resin_type.code}"),
        ("Class", f"{own.value}, {own.label.lower()}"),
        ("Came from", ", ".join(filter(None, (visit.customer.name, visit.site.name if visit.site else "")))),
        ("Declared service", visit.customer.declared_service or "not declared"),
        ("Came", day_and_clock(visit.received_at)),
        (
            "Stands at",
            (f"bay {visit.bay}" if visit.bay else "no bay is written down") if away is None else "",
        ),
    ]
    if away is not None:
        paper = f", with paper {away.paper_number}" if away.paper_number else ""
        rows.append(
            ("Left", f"{away.left_on}, to {away.went_to}{paper}. Written by {away.written_by.full_name}.")
        )
    return [(name, value) for name, value in rows if value]  # fmt: skip


# --- showers and eyewashes --------------------------------------------------------------------------------------------
def station_rows(standings: Iterable[StationStanding]) -> list[StationRow]:
    return [_station(row) for row in standings]


def _station(row: StationStanding) -> StationRow:
    symbol, word = (
        ("refused", "does not work")
        if row.is_failing
        else ("overdue", "overdue")
        if row.is_weekly_overdue or row.is_yearly_overdue
        else ("done", "in time")
    )
    weekly = row.weekly
    return StationRow(
        code=row.station.code,
        what=sentence_case(row.station.get_kind_display()),
        spot=row.station.spot,
        weekly=_tested(weekly),
        weekly_due=str(row.weekly_due) if row.weekly_due else "now",
        yearly_due=str(row.yearly_due) if row.yearly_due else "now",
        symbol=symbol,
        word=word,
    )


def _tested(test: WashTest | None) -> str:
    if test is None:
        return "never"
    return f"{test.tested_on}, {'works' if test.is_working else test.note}"


# --- near misses ------------------------------------------------------------------------------------------------------
def near_miss_sentence() -> str:
    waiting = open_near_misses().count()
    all_of_them = near_misses().count()
    if not all_of_them:
        return "None was reported yet. A plant that hears of none has stopped hearing."
    told = sentence_case(counted(all_of_them, "near miss", "near misses"))
    verb = "was" if all_of_them == 1 else "were"
    open_words = f" {sentence_case(counted(waiting, 'one'))} not done." if waiting > 1 else " One is not done." if waiting else " All are done."  # fmt: skip
    return f"{told} {verb} reported.{open_words}"


def stopped_deliveries() -> list[Unloading]:
    """Deliveries that the lock stopped, newest first: near misses of unloading."""
    return list(deliveries().filter(state=Unloading.State.STOPPED).order_by("-stopped_at", "-id")[:SHOWN_STOPS])  # fmt: skip


def standing_words(row: NearMiss, today: date) -> str:
    """ "waits for an answer", "to be done by 2026-03-20", "done"."""
    if row.answered_at is None:
        return "waits for an answer"
    if not row.follow_up:
        return "answered, nothing more to do"
    if row.closed_at is not None:
        return "answered and done"
    late = " (overdue)" if row.due_on is not None and row.due_on < today else ""
    return f"to be done by {row.due_on}{late}"


def near_miss_mark(row: NearMiss) -> tuple[str, str]:
    """Shape and word of where it stands."""
    if row.answered_at is None:
        return "check", "Waits for an answer"
    return ("waiting", "To be done") if row.is_open else ("done", "Done")


def told_rows(row: NearMiss, about_url: str = "") -> list[tuple[str, Any]]:
    """What was told, in pairs; the code leads to its page where it has one."""
    about = format_html('<a href="{}">{}</a>', about_url, row.about) if about_url else row.about
    pairs: list[tuple[str, Any]] = [
        ("What happened", row.what),
        ("Kind", row.get_kind_display()),
        ("Where", row.spot),
        ("Code", about),
        ("Happened", day_and_clock(row.happened_at)),
        ("Done at once", row.done_at_once),
        ("Seen by", row.told_by),
        ("Reported by", f"{row.reported_by.full_name}, {day_and_clock(row.reported_at)}"),
    ]
    return [(name, value) for name, value in pairs if value]


def answer_rows(row: NearMiss) -> list[tuple[str, Any]]:
    """The answer, in pairs; none while it waits."""
    if row.answered_at is None or row.answered_by is None:
        return []
    pairs: list[tuple[str, Any]] = [
        ("Cause", row.cause),
        ("To be done", f"{row.follow_up}, by {row.due_on}" if row.follow_up else "nothing more"),
        ("Answered by", f"{row.answered_by.full_name}, {day_and_clock(row.answered_at)}"),
    ]
    if row.closed_at is not None and row.closed_by is not None:
        pairs.append(
            ("Done", f"{row.closing_words} {row.closed_by.full_name}, {day_and_clock(row.closed_at)}")
        )
    return pairs  # fmt: skip
