"""The supervisor's review in words."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.batches.models import Batch, Deviation
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.models import decision_of
from regenplant.quality.selectors import ReviewBoard, ReviewLine
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case


def board_sentence(board: ReviewBoard) -> str:
    """ "2 deviations are open, one batch failed, one is held, 3 wait for release."."""
    deviations, failed = len(board.open_deviations), len(board.failed)
    held, waiting, to_review, amended = (
        len(board.held), len(board.to_release), len(board.to_review), len(board.amended)
    )  # fmt: skip
    parts = []
    if deviations:
        parts.append(f"{counted(deviations, 'deviation')} {_is(deviations)} open")
    if failed:
        parts.append(f"{counted(failed, 'batch', 'batches')} failed or aborted")
    if held:
        parts.append(f"{counted(held, 'batch', 'batches')} {_is(held)} held")
    if amended:
        parts.append(f"{counted(amended, 'signed record')} {_is(amended)} amended or open")
    if to_review:
        verb = "waits" if to_review == 1 else "wait"
        parts.append(f"{counted(to_review, 'record')} {verb} for review")
    if waiting:
        verb = "waits" if waiting == 1 else "wait"
        parts.append(f"{counted(waiting, 'batch', 'batches')} {verb} for release")
    return (
        f"{sentence_case(', '.join(parts))}." if parts else "Nothing is open. Nothing waits for a decision."
    )


def _is(number: int) -> str:
    return "is" if number == 1 else "are"


@dataclass(frozen=True, slots=True)
class ReviewRow:
    """One batch of the review: what it is, and what to know."""

    number: str
    state: str
    what: str
    says: str
    unusual: int = 0
    """How many things were unusual in it."""


def failed_row(batch: Batch, system: str) -> ReviewRow:
    """Why a batch failed, or that it was aborted."""
    decision = decision_of(batch)
    if decision is not None and decision.verdict == "fail":
        says = f"{decision.decided_by.full_name}, {day_and_clock(decision.decided_at)}: {decision.reason}"
    else:
        says = f"Aborted{f' {day_and_clock(batch.finished_at)}' if batch.finished_at else ''}. The resin is still in {batch.vessel.code}."
    return ReviewRow(batch.number, batch.state, _what(batch, system), says)


def held_row(batch: Batch, system: str) -> ReviewRow:
    """Why a batch stands still, and since when."""
    hold = next((hold for hold in batch.holds.all() if hold.resumed_at is None), None)
    says = f"Since {day_and_clock(hold.held_at)}, {hold.held_by.full_name}: {hold.reason}" if hold else ""
    return ReviewRow(batch.number, batch.state, _what(batch, system), says)


def release_row(line: ReviewLine, system: str) -> ReviewRow:
    """Who reviewed a batch that waits for its release."""
    batch, review = line.batch, line.review
    says = (
        f"Reviewed by {review.signature.printed_name}, {day_and_clock(review.reviewed_at)}." if review else ""
    )
    return ReviewRow(batch.number, batch.state, _what(batch, system), says, line.unusual)


def review_row(line: ReviewLine, system: str) -> ReviewRow:
    """How much was unusual in a batch that waits for its review."""
    batch = line.batch
    since = f"Passed {day_and_clock(batch.judged_at)}." if batch.judged_at else ""
    again = "Something was written after its review." if line.review is not None else ""
    grave = f"{sentence_case(counted(line.grave, 'thing'))} to decide first." if line.grave else ""
    says = " ".join(filter(None, (since, again, grave)))
    return ReviewRow(batch.number, batch.state, _what(batch, system), says, line.unusual)


def amended_row(line: ReviewLine, system: str) -> ReviewRow:
    """What is wrong with the signed record of a batch."""
    return ReviewRow(line.batch.number, line.batch.state, _what(line.batch, system), line.flag, line.unusual)


def _what(batch: Batch, system: str) -> str:
    litres = units.format_quantity(batch.resin_volume_m3, "resin_volume", system)
    return f"{ResinFamily(batch.resin_type.family).label}, class {batch.segregation_class}, {litres}, {batch.vessel.code}"


# --- deviations -----------------------------------------------------------------------------------------------------


def deviation_facts(deviation: Deviation, system: str) -> list[tuple[str, str]]:
    """What happened, where, and who wrote it down."""
    batch = deviation.batch
    rows = [
        ("What", deviation.what),
        ("Batch", f"{batch.number}, {_what(batch, system)}"),
        ("Step", f"{deviation.step.number}, {deviation.step.name}" if deviation.step else ""),
        ("Severity", deviation.severity),
        ("Opened", f"{day_and_clock(deviation.opened_at)}, {deviation.opened_by.full_name}"),
    ]
    if deviation.decided_by is not None and deviation.decided_at is not None:
        rows += [
            ("Decided", f"{day_and_clock(deviation.decided_at)}, {deviation.decided_by.full_name}"),
            ("Decision", deviation.decision),
        ]
    return [(term, value) for term, value in rows if value]
