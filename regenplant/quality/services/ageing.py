"""Looking at a lot, and setting the capacity factor that plans count with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.resin_fouling import BY_CODE, Answer, Seen
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.signing import SignaturePermit
from regenplant.plant.selectors import profile
from regenplant.quality.ageing import ageing_of, basis_of
from regenplant.quality.models import LotLook
from regenplant.quality.services._resins import resin_of
from regenplant.resins.capacities import factors_of
from regenplant.resins.models import ResinLot
from regenplant.resins.services._capacity import CAPACITY_MEANING, write_capacity

__all__ = ["CAPACITY_MEANING", "look_at_lot", "set_lot_capacity"]


@use_case("resin_lot.looked_at", permission="resin.look")
def look_at_lot(
    *,
    by: By,
    lot_id: int,
    seen: Sequence[str],
    answers: Mapping[str, str],
    words: str = "",
    resin: str = "",
) -> Outcome:
    """What was seen on a lot and how quick tests came out; nothing ticked says that it looked sound.

    Raises: RecordRefused.
    """
    lot = _lot(lot_id)
    of = resin_of(lot, resin)
    for sign in seen:
        one_of(sign, [one.value for one in Seen], "What was seen", field="seen")
    family = ResinFamily(of.family)
    for code, answer in answers.items():
        one_of(answer, [one.value for one in Answer], "The answer of a quick test", field="answers")
        if code not in BY_CODE or family not in BY_CODE[code].on:
            raise RecordRefused(
                f"A quick test on {code} does not go with {of.code}.", field="answers", code="other_resin"
            )
    row = LotLook.objects.create(
        lot=lot,
        resin=resin,
        seen=[one.value for one in Seen if one.value in seen],
        answers=dict(sorted(answers.items())),
        words=words_of(words, "The words", field="words", most=400),
        looked_at=by.happened_at,
        looked_by=by.user,
        entered_at=by.at,
    )
    tested = ", ".join(f"{BY_CODE[code].name}: {answer}" for code, answer in row.answers.items())
    signs = ", ".join(Seen(code).label for code in row.seen) or "nothing unusual"
    return Outcome(
        subject=("resin_lot", str(lot.pk), lot.code),
        after={"seen": row.seen, "answers": row.answers},
        facts={"signs": signs, "tested": f"; quick test on {tested}" if tested else "", "words": row.words},
        result=row,
    )


@use_case("resin_lot.capacity_set", permission="resin.capacity")
def set_lot_capacity(
    *,
    by: By,
    lot_id: int,
    factor_text: str,
    reason: str,
    seen_number: int,
    permit: SignaturePermit,
    system: units.UnitSystem = "metric",
) -> Outcome:
    """Set and sign the share of new capacity that plans count with. What the record proposes is worked out now and kept beside it.

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused, StaleRecord, SignatureRefused.
    """
    lot = _lot(lot_id)
    before = factors_of([lot])[lot.pk]
    factor = units.understand(factor_text, "fraction", system=system).value
    found = ageing_of(lot, by.at)
    if found is None:
        raise RecordRefused(
            f"{lot.code} is carbon; it exchanges no ions and has no capacity factor.", code="carbon"
        )
    row = write_capacity(
        by,
        lot,
        factor,
        proposed=found.proposed,
        basis=basis_of(found),
        reason=reason,
        seen_number=seen_number,
        permit=permit,
        zone=profile().time_zone,
    )
    signature = row.signature
    assert signature is not None
    return Outcome(
        subject=("resin_lot", str(lot.pk), lot.code),
        before={"capacity_factor": before},
        after={"capacity_factor": factor},
        facts={
            "was": f"{100 * before:.0f} %",
            "now": f"{100 * factor:.0f} %",
            "proposed": f"{100 * row.proposed:.0f} %, {100 * row.proposed_low:.0f} to {100 * row.proposed_high:.0f} %",
        },
        reason=row.reason,
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
        result=row,
    )


def _lot(lot_id: int) -> ResinLot:
    found = (
        ResinLot.objects.select_related("resin_type__cation_type", "resin_type__anion_type")
        .filter(pk=lot_id)
        .first()
    )
    if found is None:
        raise RecordRefused("This resin lot is not known here.", code="unknown")
    if found.is_scrapped:
        raise RecordRefused(f"{found.code} is scrapped.", code="scrapped")
    return found


say("resin_lot.looked_at", "Resin lot {subject} was looked at: {signs}{tested}")
say(
    "resin_lot.capacity_set",
    "Resin lot {subject}: plans count with {now} of new capacity, before {was}; proposed was {proposed}",
)
