"""Signing the audit of a period: what the page showed is frozen as it stood, with a person's name under it."""

from __future__ import annotations

from dataclasses import replace

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import plant_day, profile
from regenplant.use.models import UseReport
from regenplant.use.report_content import mark_of, report_content
from regenplant.use.selectors import Question

REPORT_MEANING = "audit of chemical use, looked through as written here"
MOST_REMARKS = 2000


@use_case("use.reported", permission="chemical.report")
def sign_report(
    *, by: By, question: Question, shown: str, permit: SignaturePermit, remarks: str = ""
) -> Outcome:
    """Freeze and sign the audit of a period that is over or runs. ``shown`` is the ``mark_of`` of the page that was read.

    Raises: RecordRefused for a period without a batch or one that lies ahead, StaleRecord when a figure changed since, SignatureRefused.
    """
    if question.first > question.last or question.last > plant_day(by.at):
        raise RecordRefused(
            f"The period from {question.first} to {question.last} is none that a report can say: it ends today, {plant_day(by.at)}, or "
            "before, and not before it begins.",
            code="period",
        )
    content = report_content(question)
    if not content.totals:
        raise RecordRefused(
            "No batch took a chemical in this period, so there is nothing to report.", code="empty"
        )
    if mark_of(content) != shown:
        raise StaleRecord(
            "A figure changed since this page was opened. The present ones stand here now. Read them, then sign."
        )
    number = next_number(UseReport, "number", "UR", 10001)
    words = words_of(remarks, "The remarks", field="remarks", most=MOST_REMARKS)
    whole = replace(
        content, number=number, made_by=by.user.full_name, made_at=by.at.isoformat(), remarks=words
    )
    text = canonical_text(whole)
    signature = bind(
        permit,
        by=by,
        meaning=REPORT_MEANING,
        record_kind="use_report",
        record_key=number,
        record_version=1,
        content=text,
        zone=profile().time_zone,
    )
    row = UseReport.objects.create(
        number=number,
        first_day=question.first,
        last_day=question.last,
        content=text,
        signature=signature,
        made_at=by.at,
        made_by=by.user,
    )
    return Outcome(
        subject=("use_report", number, f"Report of use {number}"),
        after={"first": whole.first, "last": whole.last},
        facts={"outside": whole.outside_in_all, "digest": signature.digest},
        reason=words,
        signature={
            "meaning": signature.meaning,
            "digest": signature.digest,
            "name": signature.printed_name,
        },
        result=row,
    )


say(
    "use.reported",
    "{subject} from {first} to {last} was signed, {outside} batches beyond the watch level",
)
