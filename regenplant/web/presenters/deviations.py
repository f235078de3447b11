"""Deviations in words: the list in a sentence, one of them, its cause and its decision."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from django.http import HttpRequest

from regenplant import units
from regenplant.batches.causes import cause_words
from regenplant.batches.models import Deviation
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.models import Person
from regenplant.web.listing import Chip, chips
from regenplant.web.presenters.words import counted, day_and_clock, joined, sentence_case

STATES = [("open", "Open"), ("overdue", "Overdue"), ("old", "Older than a week"), ("decided", "Decided")]
SEVERITIES = [("critical", "Critical"), ("major", "Major"), ("minor", "Minor")]


def list_sentence(counts: dict[str, int]) -> str:
    """ "3 deviations are open, one of them past its day."."""
    number, late = counts["open"], counts["overdue"]
    if not number:
        return "No deviation is open."
    tail = (
        f", {counted(late, '').strip() if late > 1 else 'one'} of them past {'their' if late > 1 else 'its'} day"
        if late
        else ""
    )
    return f"{sentence_case(counted(number, 'deviation'))} {'is' if number == 1 else 'are'} open{tail}. A batch is not released while one of its own is."


def state_chips(request: HttpRequest, counts: dict[str, int], here: str) -> list[Chip]:
    """The states as filters, each with its number; the list begins with what is open."""
    made = chips(request, "state", STATES, every="All")
    numbers = [counts["open"] + counts["decided"], *(counts[state] for state, _ in STATES)]
    keys = ["", *(state for state, _ in STATES)]
    return [
        replace(chip, count=count, is_current=key == here, url=chip.url if key else "?state=")
        for chip, count, key in zip(made, numbers, keys, strict=True)
    ]


def sentence_of(deviation: Deviation) -> str:
    """The state of a deviation in one sentence."""
    severity = sentence_case(deviation.severity)
    if deviation.is_open:
        return f"{severity}, open since {day_and_clock(deviation.opened_at)}. The batch is not released while it is open."
    assert deviation.decided_by is not None and deviation.decided_at is not None
    kind = f": {deviation.get_decision_kind_display()}" if deviation.decision_kind else ""
    return f"{severity}, decided by {deviation.decided_by.full_name}, {day_and_clock(deviation.decided_at)}{kind}."


def facts(deviation: Deviation, system: str) -> list[tuple[str, str]]:
    """What happened, where, and who wrote it down."""
    batch = deviation.batch
    litres = units.format_quantity(batch.resin_volume_m3, "resin_volume", system)
    what = f"{ResinFamily(batch.resin_type.family).label}, class {batch.segregation_class}, {litres}, {batch.vessel.code}"
    rows = [
        *short_facts(deviation),
        ("Batch", f"{batch.number}, {what}"),
        ("Severity", deviation.severity),
        ("Opened", f"{day_and_clock(deviation.opened_at)}, {deviation.opened_by.full_name}"),
        ("Came from", deviation.get_source_display()),
        ("Follows", deviation.follows.number if deviation.follows else ""),
        ("Followed by", ", ".join(one.number for one in deviation.followed_by.all())),
    ]
    return [(term, value) for term, value in rows if value]


def short_facts(deviation: Deviation) -> list[tuple[str, str]]:
    """What it is about."""
    rows = [
        ("What", deviation.what),
        ("Step", f"{deviation.step.number}, {deviation.step.name}" if deviation.step else ""),
    ]
    return [(term, value) for term, value in rows if value]


def looked_into(deviation: Deviation) -> list[tuple[str, str]]:
    """Who looks into it, what was done at once, what caused it; what is missing says so."""
    return [
        ("Looked into by", deviation.owner.full_name if deviation.owner else "nobody yet"),
        ("Due", f"{deviation.due_on:%Y-%m-%d}" if deviation.due_on else "no day given"),
        ("Done at once", deviation.measure or "nothing written yet"),
        ("Cause", cause_words(deviation.cause_category, deviation.cause) or "not known yet"),
    ]


def decided_facts(deviation: Deviation) -> list[tuple[str, str]]:
    """The decision as it was signed; empty while it is open."""
    if deviation.is_open or deviation.decided_by is None or deviation.decided_at is None:
        return []
    signature = deviation.signature
    signed = (
        f"{signature.printed_name}, meaning: {signature.meaning}, digest {signature.digest[:8]}"
        if signature
        else "not signed: it was decided before decisions were"
    )
    rows = [
        ("Decided", deviation.get_decision_kind_display() if deviation.decision_kind else ""),
        ("Why", deviation.decision),
        ("By", f"{deviation.decided_by.full_name}, {day_and_clock(deviation.decided_at)}"),
        ("Signed", signed),
    ]
    return [(term, value) for term, value in rows if value]


def who_may(people: Iterable[Person]) -> str:
    """Who is free to decide."""
    names = [person.full_name for person in people]
    return (
        f"Free to decide: {joined(names)}."
        if names
        else "Nobody with the right took no part. Ask an administrator."
    )
