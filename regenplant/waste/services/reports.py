"""Signing the monthly discharge report: its content is frozen as it stands, and every print of it is the same."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.waste.discharges import UNDER_WAY, discharges
from regenplant.waste.month import content_at, content_of, month_of, reports_of, shown_mark
from regenplant.waste.report_models import DischargeReport

REPORT_MEANING = "discharge report read and signed"


@use_case("discharge_report.signed", permission="discharge.report")
def sign_month(*, by: By, month: str, permit: SignaturePermit, shown: str = "") -> Outcome:
    """Sign the month as it stands. ``shown`` is the ``shown_mark`` of the page that was read. ``result`` is the report.

    A month that is not over is signed as far as it went, and says so; what changes afterwards makes the next revision.
    Raises: RecordRefused where nothing changed since the last revision or a discharge is released and not closed, StaleRecord, SignatureRefused.
    """
    content = content_at(month, by.at)
    if shown and shown != shown_mark(content):
        raise StaleRecord(
            "The month changed since this page was opened. Read it anew, then sign.", code="changed"
        )
    running = discharges().filter(state=UNDER_WAY[1]).first()
    if running is not None and month_of(by.at) == month:
        raise RecordRefused(
            f"{running.number} is released and not closed. Write down what went, then sign.", code="running"
        )
    earlier = reports_of(month)
    if earlier and shown_mark(content_of(earlier[0])) == shown_mark(content):
        raise RecordRefused(
            f"Revision {earlier[0].revision} of {month} says the same. Nothing was written.",
            code="nothing_changed",
        )
    text = canonical_text(content)
    revision = earlier[0].revision + 1 if earlier else 1
    signature = bind(
        permit, by=by, meaning=REPORT_MEANING, record_kind="discharge_report", record_key=f"{month}/{revision}",
        record_version=revision, content=text, zone=profile().time_zone,
    )  # fmt: skip
    row = DischargeReport.objects.create(
        month=month, revision=revision, content=text, made_by=by.user, made_at=by.at, signature=signature
    )
    return Outcome(
        subject=("discharge_report", row.key, f"Discharge report {month}"),
        after={"revision": revision},
        facts={"discharges": len(content.discharges), "excursions": len(content.excursions)},
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
        result=row,
    )


say(
    "discharge_report.signed",
    "{subject} was signed with {discharges} discharges and {excursions} excursions",
)
