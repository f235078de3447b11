"""The act that ends the keeping of a batch: its rows go, after their time, by two people, with a copy read back before."""

from __future__ import annotations

import hashlib
from datetime import date
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.keeping import purging
from regenplant.keeping.models import Purge, PurgedRow
from regenplant.keeping.purging import PURGED
from regenplant.keeping.retention import Kept, period_past
from regenplant.people.binding import SignaturePermit, TwoPeople, bind
from regenplant.people.models import Signature
from regenplant.plant.selectors import profile

PURGE_MEANING = "record purged after its period"
PURGE_RIGHT = "retention.purge"


@use_case(PURGED, permission=PURGE_RIGHT)
def purge(*, by: By, batch_id: int, reason: str, copy: bytes, together: TwoPeople, version: int) -> Outcome:
    """Remove the rows of one batch for good. ``copy`` is the file of its complete copy; ``result`` is the Purge.

    The acts stay; a tombstone with the digest of each row stays.

    Raises: RecordRefused early (it says until when the batch is kept), under a legal hold, while something refers to it, for a copy
    that is not whole or not of now, and for one person alone; NotAllowed, SignatureRefused, StaleRecord.
    """
    batch = Batch.objects.select_for_update().filter(pk=batch_id).first()
    if batch is None:
        raise RecordRefused("There is no such batch here. It may be purged already.", code="unknown")
    if batch.version != version:
        raise StaleRecord(f"{batch.number} was written on meanwhile. Look at it again.")
    second = together.second
    if second.user.pk == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} purges it, so the second person is another one.",
            field="second_username",
            code="own_work",
        )
    require(second, PURGE_RIGHT)
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    kept = period_past(batch.number, by.at)
    rows = purging.own_rows(batch)
    purging.refuse_in_use(batch, rows)
    stones = purging.tombstones(rows)
    copied_by = purging.copy_act(batch, copy)
    record_sha256 = purging.read_back(copy, stones)
    facts: dict[str, Any] = {
        "copy_act": copied_by,
        "copy_sha256": hashlib.sha256(copy).hexdigest(),
        "record_sha256": record_sha256,
        "rows": purging.counted(stones),
        "rows_sha256": purging.digest_of_rows(stones),
        "kept_until": str(kept.until),
    }
    done = _written(by, batch, kept, words, facts, together)
    for stone in stones:
        stone.purge = done
    PurgedRow.objects.bulk_create(stones, batch_size=100)
    purging.remove(rows)
    return Outcome(
        subject=("batch", done.batch_number, f"Batch {done.batch_number}"),
        facts={
            **facts,
            "purge": done.number,
            "count": len(stones),
            "second": second.user.full_name,
            "short": facts["copy_sha256"][:8],
        },
        reason=words,
        signature={"meaning": PURGE_MEANING, "digest": done.signature.digest},
        result=done,
    )


def _written(
    by: By, batch: Batch, kept: Kept, reason: str, facts: dict[str, Any], together: TwoPeople
) -> Purge:
    number = next_number(Purge, "number", "X", 10001)
    content = canonical_text(
        {
            "purge": number,
            "batch": batch.number,
            "segregation_class": batch.segregation_class,
            "years": kept.years,
            "reason": reason,
            **facts,
        }
    )

    def signed(who: By, permit: SignaturePermit) -> Signature:
        return bind(
            permit,
            by=who,
            meaning=PURGE_MEANING,
            record_kind="purge",
            record_key=number,
            record_version=1,
            content=content,
            zone=profile().time_zone,
        )

    return Purge.objects.create(
        number=number,
        batch_number=batch.number,
        segregation_class=batch.segregation_class,
        kept_until=date.fromisoformat(facts["kept_until"]),
        reason=reason,
        copy_sha256=facts["copy_sha256"],
        content=content,
        purged_by=by.user,
        confirmed_by=together.second.user,
        purged_at=by.at,
        signature=signed(by, together.permit),
        confirmation_signature=signed(together.second, together.second_permit),
    )


say(
    PURGED,
    "{subject} was purged with {second}: {count} rows are gone, copy {short} was read back ({reason})",
)
