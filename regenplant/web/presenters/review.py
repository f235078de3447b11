"""The supervisor's review in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.batches.models import Batch, Deviation
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.selectors import ReviewBoard
from regenplant.quality.verification import Extent, Finding
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case, short_digest


def board_sentence(board: ReviewBoard) -> str:
    """ "2 deviations are open, one batch failed, one is held, 3 wait for release."."""
    deviations, failed = len(board.open_deviations), len(board.failed)
    held, waiting = len(board.held), len(board.to_release)
    parts = []
    if deviations:
        parts.append(f"{counted(deviations, 'deviation')} {_is(deviations)} open")
    if failed:
        parts.append(f"{counted(failed, 'batch', 'batches')} failed or aborted")
    if held:
        parts.append(f"{counted(held, 'batch', 'batches')} {_is(held)} held")
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


def failed_row(batch: Batch, system: str) -> ReviewRow:
    """Why a batch failed, or that it was aborted."""
    decision = getattr(batch, "qc_decision", None)
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


def release_row(batch: Batch, system: str) -> ReviewRow:
    """Since when a batch waits for its release."""
    says = f"Passed {day_and_clock(batch.judged_at)}, its tanks are filled." if batch.judged_at else ""
    return ReviewRow(batch.number, batch.state, _what(batch, system), says)


def _what(batch: Batch, system: str) -> str:
    litres = units.format_quantity(batch.resin_volume_m3, "resin_volume", system)
    return f"{ResinFamily(batch.resin_type.family).label}, class {batch.segregation_class}, {litres}, {batch.vessel.code}"


# --- deviations -----------------------------------------------------------------------------------------------------
def deviation_sentence(deviation: Deviation) -> str:
    """The state of a deviation in one sentence."""
    if deviation.is_open:
        return f"{sentence_case(deviation.severity)}, open since {day_and_clock(deviation.opened_at)}. The batch is not released while it is open."
    assert deviation.decided_by is not None and deviation.decided_at is not None
    return f"{sentence_case(deviation.severity)}, decided by {deviation.decided_by.full_name}, {day_and_clock(deviation.decided_at)}."


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


# --- the state of the record ------------------------------------------------------------------------------------------
def record_sentence(extent: Extent) -> str:
    """How long the record is and where its chain ends."""
    if extent.events == 0:
        return "No act is recorded yet."
    return f"{counted_thin(extent.events)} acts stand in the chain; its head is {short_digest(extent.head)}."


def counted_thin(number: int) -> str:
    """A count with thin spaces between thousands."""
    return units.format_number(float(number), digits=12, decimals=0)


def extent_facts(extent: Extent) -> list[tuple[str, str]]:
    """How much a check looks at."""
    return [
        ("Acts in the chain", counted_thin(extent.events)),
        ("Head of the chain", short_digest(extent.head)),
        ("Signatures", counted_thin(extent.signatures)),
        ("Frozen batch plans", counted_thin(extent.batches)),
        ("Recipe and specification versions", counted_thin(extent.versions)),
        ("Movements of chemicals", counted_thin(extent.movements)),
        ("Locks in the database", counted_thin(extent.locks)),
    ]


def verified_sentence(findings: Sequence[Finding], extent: Extent) -> str:
    """The result of a check in one sentence."""
    looked = f"{counted_thin(extent.events)} acts, {counted(extent.signatures, 'signature')} and {counted(extent.batches, 'batch plan')}"
    if not findings:
        return f"All records hold: {looked} fit their digests, nothing is missing, every lock stands."
    noun = "record does" if len(findings) == 1 else "records do"
    return f"{counted_thin(len(findings))} {noun} not hold. Call the administrator and keep the papers; nothing here repairs it."


def finding_sentences(findings: Sequence[Finding]) -> list[str]:
    """What does not hold, records first; the missing locks, which come in dozens, as one sentence."""
    missing = sum(1 for found in findings if found.kind == "lock")
    sentences = [found.sentence for found in findings if found.kind != "lock"]
    if missing:
        verb = "is" if missing == 1 else "are"
        sentences.append(
            f"{sentence_case(counted(missing, 'lock'))} {verb} missing in the database. The command migrate makes them anew."
        )
    return sentences


def head_sentence(head: str, number: int | None) -> str:
    """What a printed chain head says."""
    if number is None:
        return f"No act with the head {head} stands in the chain: it was cut or rewritten, or the paper is from another plant."
    return (
        f"The printed head {head} is that of event {counted_thin(number)}; everything before it still stands."
    )
