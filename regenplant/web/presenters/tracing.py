"""Investigations and traces in words."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from regenplant.core.process.lifecycle import BatchState, VisitState, label
from regenplant.core.process.vocabulary import Chemical
from regenplant.quality.investigation import BATCH, Investigation, Related
from regenplant.quality.things import Thing
from regenplant.quality.tracing import Column, Kind, Node, Trace
from regenplant.web.presenters.words import counted, day_and_clock, joined, sentence_case

WATER_WORDS = {"raw": "raw water", "softened": "softened water", "deionized": "deionized water"}
TITLES = {
    Column.CAME_FROM: "Came from",
    Column.TANKS: "Tanks",
    Column.WENT_IN: "Lots that went in",
    Column.BATCHES: "Batches",
    Column.MADE: "Lots made",
    Column.WENT_TO: "Went to",
}


def investigation_url(kind: str, code: str) -> str:
    """The page of an investigation."""
    return f"{reverse('tracing-investigation')}?{urlencode({'kind': kind, 'code': code})}"


def trace_url(kind: str, code: str) -> str:
    """The page of a trace."""
    return f"{reverse('tracing-trace')}?{urlencode({'kind': kind, 'code': code})}"


def investigation_sentence(found: Investigation) -> str:
    """ "9 of 14 batches shared something; 12 tanks of the pool, 7 of them shipped."."""
    away = len(found.shipped)
    tanks = counted(len(found.recall), "tank")
    gone = f", {away} of them shipped" if away else ", none of them shipped" if found.recall else ""
    return (
        f"{sentence_case(counted(len(found.related), 'batch', 'batches'))} of {found.looked_at} shared something with "
        f"{found.origin.label}; {tanks} of the pool{gone}."
    )


def window_words(found: Investigation) -> str:
    """From when to when was looked."""
    return f"{found.days} days: {day_and_clock(found.since)} to {day_and_clock(found.until)}"


def thing_rows(found: Investigation) -> list[tuple[str, str, list[tuple[str, str]]]]:
    """What it used, by kind: the kind, how many batches shared it, and each thing with the way to its own investigation."""
    rows = []
    for thing in Thing:
        codes = sorted(found.things.get(thing, ()))
        if codes:
            shared = sum(1 for row in found.related if any(one.thing is thing for one in row.shares))
            rows.append(
                (
                    sentence_case(thing.label),
                    f"{shared} shared" if found.origin.kind == BATCH else "",
                    [(code_words(thing, code), investigation_url(thing.value, code)) for code in codes],
                )
            )
    return rows


def code_words(thing: Thing, code: str) -> str:
    return WATER_WORDS.get(code, code) if thing is Thing.WATER else code


def kept(found: Investigation, thing: str) -> tuple[Related, ...]:
    """The batches that shared this kind of thing; all of them for ""."""
    return tuple(row for row in found.related if not thing or any(one.thing == thing for one in row.shares))


def kinds_in(found: Investigation) -> list[tuple[str, str]]:
    """Kinds of things that were shared at all, for the filter."""
    present = {one.thing for row in found.related for one in row.shares}
    return [(thing.value, sentence_case(thing.label)) for thing in Thing if thing in present]


MOST_LINES = 24
"""Lines of one kind that stand open."""


# --- traces -----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class TraceLine:
    """One node in the list."""

    code: str
    url: str
    note: str
    trace_url: str
    leads: str
    """Where it leads, in words."""


@dataclass(frozen=True, slots=True)
class TraceGroup:
    title: str
    lines: tuple[TraceLine, ...]
    more: tuple[TraceLine, ...] = ()
    """What stands behind a fold, where there are very many."""


def trace_sentence(trace: Trace) -> str:
    """ "Tank T-20417: 3 batches, 2 customers."."""
    batches, tanks = len(trace.of(Column.BATCHES)), len(trace.of(Column.TANKS))
    reached = len(trace.of(Column.WENT_TO))
    left = (
        f" {sentence_case(counted(trace.left_out, 'older batch', 'older batches'))} left out."
        if trace.left_out
        else ""
    )
    return (
        f"{sentence_case(counted(batches, 'batch', 'batches'))} and {counted(tanks, 'tank')}; shipped to "
        f"{counted(reached, 'customer')}.{left}"
    )


def trace_groups(trace: Trace) -> list[TraceGroup]:
    """The same as the drawing, as lists."""
    return [
        TraceGroup(
            TITLES[column],
            tuple(_trace_line(trace, node) for node in trace.of(column)[:MOST_LINES]),
            tuple(_trace_line(trace, node) for node in trace.of(column)[MOST_LINES:]),
        )
        for column in Column
        if trace.of(column)
    ]


def _trace_line(trace: Trace, node: Node) -> TraceLine:
    ahead = [other.code for other in trace.ways_from(node)]
    leads = joined(ahead[:6]) + (f" and {len(ahead) - 6} more" if len(ahead) > 6 else "")
    return TraceLine(node.code, _page_of(node), _note(node), trace_url(node.kind.value, node.code), leads)


def _note(node: Node) -> str:
    if node.kind is Kind.BATCH:
        when = f", {day_and_clock(node.at)}" if node.at else ""
        return f"{label(BatchState(node.note))}{when}"
    if node.kind is Kind.TANK:
        return label(VisitState(node.note))
    if node.kind is Kind.CHEMICAL_LOT:
        return Chemical(node.note).label
    return node.note


def _page_of(node: Node) -> str:
    """The page of a thing; "" where it has none of its own."""
    if node.kind is Kind.BATCH:
        return reverse("batches-detail", args=[node.code])
    if node.kind is Kind.TANK:
        return reverse("tanks-detail", args=[node.code])
    return ""
