"""Paper forms at a change of shift: which are out, being entered, or entered and not confirmed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from regenplant.keeping.models import PaperForm
from regenplant.keeping.selectors import open_forms
from regenplant.plant.handed_on import LiveLine, LiveSection

State = PaperForm.State


def paper_section(now: datetime) -> LiveSection:
    """Every form whose number is not accounted for yet. One query, however many there are."""
    forms = open_forms()
    lines = (*_used(forms, now), *_out(forms, now))
    return LiveSection("paper_forms", "Paper forms", lines, "No paper form is out.")


def _used(forms: Sequence[PaperForm], now: datetime) -> Iterator[LiveLine]:
    """Forms that wait for a person, each by itself."""
    for form in forms:
        who = form.transcriber.full_name if form.transcriber else ""
        about = f" about {form.batch.number}" if form.batch else ""
        if form.state == State.ENTERED:
            what, words = (
                "is entered and not confirmed.",
                f"by {who}. Another person compares it with the scan.",
            )
            since = form.entered_at
        elif form.state == State.ENTERING:
            what, words = "is being entered.", f"by {who}."
            since = form.taken_up_at
        else:
            continue
        yield LiveLine(
            f"{form.number} {what}",
            f"A {form.get_kind_display()}{about}, {words}",
            timing=_for_hours(since, now),
            needs_person=True,
            kind="paper_form",
            key=form.number,
        )


def _out(forms: Sequence[PaperForm], now: datetime) -> Iterator[LiveLine]:
    """Blank or filled by hand, somewhere in the plant: the unused numbers of each pad on one line."""
    pads: dict[str, list[PaperForm]] = {}
    for form in forms:
        if form.state == State.ISSUED:
            pads.setdefault(form.pad, []).append(form)
    for members in pads.values():
        first = members[0]
        they = "it is" if len(members) == 1 else "they are"
        about = f" for {first.batch.number}, which is not released while {they} out" if first.batch else ""
        printed = "" if any(form.prints for form in members) else " Not printed yet."
        noun = "form" if len(members) == 1 else "forms"
        yield LiveLine(
            f"{numbers_in_words([form.number for form in members])} {'is' if len(members) == 1 else 'are'} out.",
            f"{len(members)} {first.get_kind_display()} {noun}{about}. Issued by {first.issued_by.full_name}.{printed}",
            timing=_for_hours(first.issued_at, now),
            kind="paper_form",
            key=first.number,
        )


def numbers_in_words(numbers: Sequence[str]) -> str:
    """Numbers in order, runs of neighbours shortened: "P-10001, P-10003 to P-10010"."""
    runs: list[list[str]] = []
    for number in numbers:
        if runs and _place(number) == _place(runs[-1][-1]) + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        run[0] if len(run) == 1 else f"{run[0]}{',' if len(run) == 2 else ' to'} {run[-1]}" for run in runs
    )


def _place(number: str) -> int:
    return int(number.rpartition("-")[2])


def _for_hours(since: datetime | None, now: datetime) -> str:
    """ "for 5 h", "for 3 days"; "" where it is not known since when."""
    if since is None:
        return ""
    hours = (now - since).total_seconds() / 3600
    return (
        f"for {hours * 60:.0f} min"
        if hours < 2
        else f"for {hours:.0f} h"
        if hours < 48
        else f"for {hours / 24:.0f} days"
    )
