"""Retained samples in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from regenplant import units
from regenplant.core.process.vocabulary import ResinFamily, SegregationClass
from regenplant.quality.models import RetainedSample
from regenplant.quality.retained import SampleShelf
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case


@dataclass(frozen=True, slots=True)
class SampleRow:
    """One line of the register."""

    number: str
    batch: str
    what: str
    place: str
    until: str
    is_due: bool
    fate: str


@dataclass(frozen=True, slots=True)
class SampleGroup:
    """Samples that stand in the same way."""

    title: str
    note: str
    rows: tuple[SampleRow, ...]
    empty: str
    is_gone: bool = False


def register_sentence(shelf: SampleShelf) -> str:
    """ "2 samples are due to be discarded, 14 are kept, 1 batch waits for its sample."."""
    due = counted(len(shelf.due), "sample")
    said = [f"{due} {'is' if len(shelf.due) == 1 else 'are'} due to be discarded"] if shelf.due else []
    kept = len(shelf.kept)
    said.append(f"{counted(kept, 'sample')} {'is' if kept == 1 else 'are'} kept")
    if shelf.missing:
        waiting = len(shelf.missing)
        said.append(f"{counted(waiting, 'batch', 'batches')} {'waits' if waiting == 1 else 'wait'} for one")
    return f"{sentence_case(', '.join(said))}."


def groups(shelf: SampleShelf, system: str) -> tuple[SampleGroup, ...]:
    """Due first, then kept, then gone."""
    return (
        SampleGroup(
            "Due", "past their day", _rows(shelf.due, system, is_due=True), "No sample is past its day."
        ),
        SampleGroup("Kept", "by their day", _rows(shelf.kept, system), "No sample is kept."),
        SampleGroup(
            "Gone", "the last fifty", _rows(shelf.gone, system), "No sample was discarded yet.", is_gone=True
        ),
    )


def _rows(rows: Sequence[RetainedSample], system: str, *, is_due: bool = False) -> tuple[SampleRow, ...]:
    return tuple(
        SampleRow(
            number=row.number,
            batch=row.batch.number,
            what=f"{ResinFamily(row.batch.resin_type.family).label}, class {row.batch.segregation_class}, {_volume(row, system)}",
            place=row.place,
            until=row.keep_until.isoformat(),
            is_due=is_due,
            fate=_fate(row),
        )
        for row in rows
    )


def _fate(row: RetainedSample) -> str:
    gone = getattr(row, "discard", None)
    return f"{gone.get_why_display()}, {day_and_clock(gone.discarded_at)}" if gone is not None else ""


def _volume(row: RetainedSample, system: str) -> str:
    return units.format_quantity(row.volume_m3, "liquid_volume", "us" if system == "us" else "metric")


def sample_sentence(row: RetainedSample, today: date) -> str:
    """How it stands, in one sentence."""
    if hasattr(row, "discard"):
        return f"Discarded, {row.discard.get_why_display()}."
    if row.keep_until < today:
        return f"Past its day since {row.keep_until.isoformat()}: it may be discarded."
    return f"Kept until {row.keep_until.isoformat()}, {row.place}."


def sample_facts(row: RetainedSample, system: str) -> list[tuple[str, str]]:
    """Everything that was written down of it."""
    letter = SegregationClass(row.batch.segregation_class)
    return [
        ("Batch", row.batch.number),
        ("Resin", ResinFamily(row.batch.resin_type.family).label),
        ("Class", f"{letter.value}, {letter.label}"),
        ("Volume", _volume(row, system)),
        ("Place", row.place),
        ("Taken", f"{day_and_clock(row.taken_at)}, {row.taken_by.full_name}"),
        ("Keep until", row.keep_until.isoformat()),
    ]


def discard_facts(row: RetainedSample) -> list[tuple[str, str]]:
    """What became of it; nothing while it is kept."""
    gone = getattr(row, "discard", None)
    if gone is None:
        return []
    return [
        ("What became of it", str(gone.get_why_display())),
        ("Reason", gone.reason),
        ("By", f"{gone.discarded_by.full_name}, {day_and_clock(gone.discarded_at)}"),
    ]
