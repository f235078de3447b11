"""The QC decision and the release in words: what is signed, by whom, and why not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from regenplant.batches.models import Batch, BatchTank
from regenplant.core.process.acceptance import Outcome
from regenplant.core.process.lifecycle import BatchAction, BatchState, Offer, label
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.process.wording import listed
from regenplant.quality.selectors import QcPage
from regenplant.quality.specification import applied_class, applied_names, downgrade_of
from regenplant.web.presenters.qc_limits import LimitRow
from regenplant.web.presenters.words import (
    both,
    counted,
    day_and_clock,
    joined,
    sentence_case,
    short_digest,
)


def tests_sentence(rows: Sequence[LimitRow]) -> str:
    """ "4 of 4 tests inside."."""
    met = sum(1 for row in rows if row.outcome is Outcome.PASS)
    return f"{met} of {len(rows)} tests inside."


def decision_sentence(page: QcPage, rows: Sequence[LimitRow]) -> str:
    """The state of the decision in one or two sentences."""
    if page.standing.flag:
        return page.standing.flag
    if page.release is not None:
        return f"Released by {page.release.released_by.full_name}, {day_and_clock(page.release.released_at)}."
    if page.decision is not None:
        down = downgrade_of(page.batch) is not None
        passed = "Taken down to a lower product and passed" if down else "Passed"
        word = passed if page.decision.verdict == "pass" else "Failed"
        return f"{word} by {page.decision.decided_by.full_name}, {day_and_clock(page.decision.decided_at)}. {tests_sentence(rows)}"
    if page.batch.state != BatchState.AWAITING_QC:
        return f"The batch is {label(BatchState(page.batch.state))}; it is judged after its rinse and sample."
    offer = page.offer(BatchAction.PASS)
    free = "You may judge it." if offer is not None and _only(offer, "qc_not_met") else ""
    return " ".join(filter(None, (tests_sentence(rows), free)))


def amend_refusal(page: QcPage, may: Sequence[str], held_reason: str) -> str:
    """Why the reader does not sign the decision of a reopened record anew; "" when the way is open. What the corrected values
    say is told by the service, since it depends on the verdict."""
    said = [held_reason] if held_reason else []
    if page.performed:
        said.append(f"You {' and '.join(page.performed)} in this batch, so another person must judge it.")
    if not said:
        return ""
    return " ".join(
        [
            *said,
            f"May judge: {joined(may, 'or')}."
            if may
            else "Nobody here may judge it. Call in another person.",
        ]
    )


def _only(offer: Offer[BatchAction], *codes: str) -> bool:
    return all(blocker.code in codes for blocker in offer.blockers)


def refusal(offer: Offer[BatchAction] | None, may: Sequence[str], what: str) -> str:
    """Why the reader may not do this now, and who may; "" when the way is open."""
    if offer is None:
        return ""
    if offer.is_open:
        return ""
    said = " ".join(blocker.sentence for blocker in offer.blockers)
    personal = any(blocker.code in ("not_allowed", "own_work") for blocker in offer.blockers)
    if not personal:
        return said
    who = (
        f"May {what}: {joined(may, 'or')}." if may else f"Nobody here may {what} it. Call in another person."
    )
    return f"{said} {who}"


def what_is_signed(batch: Batch, tanks: int, verdict: str, *, is_refused: bool = False) -> str:
    """The sentence over a signature."""
    signs = "You would sign" if is_refused else "You sign"
    body = (
        f"batch {batch.number}, {counted(tanks, 'tank')} of {_family(batch)}, class {applied_class(batch)},"
    )
    names = [one.name for one in applied_names(batch)]
    against = f"specification {names[0]}" if len(names) == 1 else f"the strictest of {joined(names)}"
    if verdict == "pass":
        return f"{signs} that {body} met {against}."
    if verdict == "fail":
        return f"{signs} that {body} failed against {against}, for the reason you write."
    return f"{signs} that {body} and its tanks may go to the customer. It passed {against}."


def _family(batch: Batch) -> str:
    text = ResinFamily(batch.resin_type.family).label
    return text[:1].lower() + text[1:]


def signed_facts(page: QcPage, rows: Sequence[LimitRow], digest: str) -> list[tuple[str, str]]:
    """The figures under a signature: each with its limit, who read and measured, the digest."""
    facts = [(row.name, _figure(row)) for row in rows]
    readers = list(dict.fromkeys(row.entered_by.full_name for row in page.readings))
    measurers = list(dict.fromkeys(row.entered_by.full_name for row in page.measurements))
    if readers:
        facts.append(("Readings by", joined(readers)))
    if measurers:
        facts.append(("Measured by", joined(measurers)))
    facts += _separation_facts(page)
    facts.append(("Plan digest", short_digest(page.batch.plan_digest)))
    if digest:
        facts.append(("Digest of what is signed", short_digest(digest)))
    return facts


def _separation_facts(page: QcPage) -> list[tuple[str, str]]:
    """What was written when a mixed bed was cut: it is signed, so it is shown; nothing for any other batch."""
    record = page.separation
    if record is None:
        return []
    lines = (*record.heights, *record.volumes, *record.fractions)
    return [(line.name, line.as_typed or "not written") for line in lines]


def _figure(row: LimitRow) -> str:
    if row.bar is None:
        return f"not measured, {row.allowed}"
    value = " ".join(filter(None, (row.bar.value_text, row.bar.unit)))
    return f"{value}, {row.allowed}"


def tanks_failed_words(facts: Mapping[str, Any]) -> str:
    """What became of the tanks of a batch that was amended to fail; "" where none was filled."""
    kept, shipped = facts.get("withdrawn", []), facts.get("shipped", [])
    here = f" Withdrawn, not to be shipped: {listed(kept)}." if kept else ""
    gone = f" Shipped already, to be called back: {listed(shipped)}." if shipped else ""
    return f"{here}{gone}"


def tank_words(page: QcPage, system: str) -> list[tuple[str, str]]:
    """The tanks of the batch and what became of each."""
    rows = []
    for link in page.tanks:
        said = (
            f"set aside: {link.set_aside_reason}"
            if link.set_aside_reason
            else f"withdrawn: {link.withdrawn_reason}"
            if link.is_withdrawn
            else _filled_words(link, system)
            if link.is_filled
            else "not filled"
        )
        rows.append((link.visit.tank.serial, f"{link.visit.customer.name}, {said}"))
    return rows


def _filled_words(link: BatchTank, system: str) -> str:
    volume_m3 = link.filled_m3
    return "filled" if volume_m3 is None else f"filled with {both(volume_m3, 'resin_volume', system)}"


def decided_words(page: QcPage) -> list[tuple[str, str]]:
    """The signed decision, as it was signed."""
    decision = page.decision
    if decision is None:
        return []
    rows = [
        ("Verdict", "pass" if decision.verdict == "pass" else "fail"),
        ("Version", f"{decision.version}, amended" if decision.version > 1 else ""),
        ("Reason", decision.reason),
        ("Signed by", f"{decision.signature.printed_name}, {decision.signature.roles}"),
        ("At", day_and_clock(decision.signature.signed_at)),
        ("Meaning", decision.signature.meaning),
        ("Digest of what was signed", short_digest(decision.signature.digest)),
    ]
    return [(term, value) for term, value in rows if value]


def released_words(page: QcPage) -> list[tuple[str, str]]:
    """The signed release, as it was signed."""
    if page.release is None:
        return []
    signature, version = page.release.signature, page.release.version
    return [
        *([("Version", f"{version}, released anew")] if version > 1 else []),
        ("Signed by", f"{signature.printed_name}, {signature.roles}"),
        ("At", day_and_clock(signature.signed_at)),
        ("Meaning", signature.meaning),
        ("Digest of what was signed", short_digest(signature.digest)),
    ]


def release_sentence(page: QcPage) -> str:
    """The state of the release in one or two sentences."""
    if page.standing.flag:
        return page.standing.flag
    if page.release is not None:
        return f"Released by {page.release.released_by.full_name}, {day_and_clock(page.release.released_at)}."
    if page.batch.state != BatchState.FILLED:
        return f"The batch is {label(BatchState(page.batch.state))}; it is released when it has passed and its tanks are filled."
    filled = sum(1 for link in page.tanks if link.is_filled and not link.is_withdrawn)
    took = "You took no part in it." if not page.took_part else ""
    return " ".join(filter(None, (f"{sentence_case(counted(filled, 'tank'))} filled and waiting.", took)))
