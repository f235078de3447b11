"""Acts on resin lots. A lot is a body of resin: lots mix and split, and the shares are kept."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from regenplant.audit.by import By
from regenplant.audit.records import within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.resin_lots import new_part
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily
from regenplant.resins import bodies
from regenplant.resins.models import LotMovement, LotParent, ResinLot
from regenplant.resins.services._rules import (
    lot_subject,
    lot_values,
    owner_of,
    refuse_parent,
    resin_type_of,
    volume_words,
)
from regenplant.resins.services._store import Counted, move, refuse_elsewhere

FRACTION_SLACK = 1e-6
"""How far shares may miss one hundred percent by rounding."""


@use_case("resin_lot.received", permission="resin.edit")
def receive_new_lot(
    *,
    by: By,
    code: str,
    resin_type_id: int,
    segregation_class: str,
    volume_m3: float,
    volume_form: str,
    origin: str,
    cycles: int = 0,
    into_store: bool = False,
    is_new: bool = False,
    delivered_on: date | None = None,
    dedicated_to: str = "",
) -> Outcome:
    """A body of resin that comes into the plant's books: delivered new, or found in a tank whose past is not recorded.

    ``into_store``: it stands in the store of resin, and the store's book begins with it; else it is in tanks already. ``is_new``: it is
    conditioned before anything is topped up with it. ``dedicated_to``: the customer's code, of class A.

    Raises: RecordRefused, OutOfRange.
    """
    resin_type = resin_type_of(resin_type_id)
    values = lot_values(code, resin_type, segregation_class, volume_m3, volume_form, origin, cycles)
    if is_new and cycles:
        raise RecordRefused(
            f"New resin has no regenerations behind it; {cycles} were written.",
            field="cycles",
            code="not_new",
        )
    if delivered_on is not None and delivered_on > by.at.date():
        raise RecordRefused(
            f"{delivered_on.isoformat()} has not come yet. Write the day it was delivered new, or leave it empty.",
            field="delivered_on",
        )
    lot = ResinLot.objects.create(
        **values,
        made_at=by.happened_at,
        parts=bodies.as_rows(new_part(str(values["code"]), cycles)),
        needs_conditioning=is_new and not ResinFamily(resin_type.family).is_exchanged,
        delivered_on=delivered_on,
        dedicated_to=owner_of(segregation_class, dedicated_to),
    )
    if into_store:
        move(by, lot, LotMovement.Kind.RECEIVED, Counted(volume_m3, volume_form))
    return Outcome(
        subject=lot_subject(lot),
        after={"volume_m3": volume_m3, "volume_form": volume_form, "segregation_class": segregation_class},
        facts={"shown": volume_words(volume_m3, volume_form), "resin": resin_type.code, "origin": lot.origin},
        result=lot,
    )


@use_case("resin_lot.mixed", permission="resin.mix")
def mix_lot(
    *,
    by: By,
    code: str,
    resin_type_id: int,
    segregation_class: str,
    volume_m3: float,
    volume_form: str,
    origin: str,
    parents: Sequence[tuple[int, float]],
    cycles: int,
    capacity_factor: float,
    dedicated_to: str = "",
) -> Outcome:
    """A lot made from older ones, each with its share; shares under one leave a rest of unrecorded origin.

    Raises: RecordRefused for a parent that is scrapped, of another resin type, or of a class this lot may not have;
    OutOfRange for shares above one.
    """
    resin_type = resin_type_of(resin_type_id)
    values = lot_values(code, resin_type, segregation_class, volume_m3, volume_form, origin, cycles)
    within(capacity_factor, 0.01, 1.2, "The capacity factor", "ratio", field="capacity_factor")
    shares = _shares(parents)
    older = {lot.pk: lot for lot in ResinLot.objects.select_related("resin_type").filter(pk__in=shares)}
    if len(older) != len(shares):
        raise RecordRefused(
            "One of the lots this one is made from is not known here.", code="unknown", field="parents"
        )
    for parent in older.values():
        refuse_parent(parent, resin_type, segregation_class)
    lot = ResinLot.objects.create(
        **values,
        capacity_factor=capacity_factor,
        made_at=by.happened_at,
        parts=bodies.as_rows(bodies.blend_of(shares, older, made=str(values["code"]), cycles=cycles)),
        dedicated_to=owner_of(segregation_class, dedicated_to),
    )
    LotParent.objects.bulk_create(
        LotParent(child=lot, parent_id=pk, fraction=share) for pk, share in shares.items()
    )
    return Outcome(
        subject=lot_subject(lot),
        after={
            "volume_m3": volume_m3,
            "volume_form": volume_form,
            "cycles": cycles,
            "capacity_factor": capacity_factor,
        },
        facts={
            "shown": volume_words(volume_m3, volume_form),
            "origin": lot.origin,
            "parents": {older[pk].code: share for pk, share in shares.items()},
            "from": ", ".join(f"{older[pk].code} ({100 * share:.0f} %)" for pk, share in shares.items())
            or "no recorded lot",
        },
        related=tuple(("resin_lot", str(pk)) for pk in shares),
        result=lot,
    )


@use_case("resin_lot.scrapped", permission="resin.edit")
def scrap_lot(*, by: By, lot_id: int, reason: str, with_batch: bool = False) -> Outcome:
    """A whole body of resin goes out of use for good, what of it stands in the store with it.

    ``with_batch``: its batch is scrapped, which sees to the tanks itself.

    Raises: RecordRefused, also while tanks or vessels of the plant hold resin of it.
    """
    lot = ResinLot.objects.select_for_update().filter(pk=lot_id).first()
    if lot is None:
        raise RecordRefused("This resin lot is not known here.", code="unknown")
    if lot.is_scrapped:
        raise RecordRefused(f"{lot.code} is scrapped already.", code="scrapped")
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    if not with_batch:
        refuse_elsewhere(lot)
    stored = bodies.stored_m3(lot)
    if stored:
        form = EXHAUSTED_FORM[ResinFamily(lot.resin_type.family)].value
        move(by, lot, LotMovement.Kind.SCRAPPED, Counted(stored, form), reason=words)
    ResinLot.objects.filter(pk=lot.pk).update(is_scrapped=True)
    lot.is_scrapped = True
    return Outcome(
        subject=lot_subject(lot),
        before={"is_scrapped": False},
        after={"is_scrapped": True},
        facts={"stored_m3": stored} if stored else {},
        reason=words,
        result=lot,
    )


def _shares(parents: Sequence[tuple[int, float]]) -> dict[int, float]:
    """Shares by lot, several entries of one lot added up."""
    shares: dict[int, float] = {}
    for pk, share in parents:
        if not share > 0:
            raise OutOfRange(
                f"A share of {share:g} cannot be; shares lie above 0 and at most at 1.", field="parents"
            )
        shares[pk] = shares.get(pk, 0.0) + share
    total = sum(shares.values())
    if total > 1 + FRACTION_SLACK:
        raise OutOfRange(
            f"The shares add up to {total:.4f}; at most 1 is possible.",
            field="parents",
            seen=total,
            allowed_high=1.0,
        )
    return {pk: min(share, 1.0) for pk, share in shares.items()}


say("resin_lot.received", "Resin lot {subject} was received: {shown} of {resin}, {origin}")
say("resin_lot.mixed", "Resin lot {subject} was made: {shown}, from {from}")
say("resin_lot.scrapped", "Resin lot {subject} was scrapped")
