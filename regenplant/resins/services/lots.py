"""Acts on resin lots. A lot is a body of resin: lots mix and split, and the shares are kept."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import code_of, one_of, refuse_known, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import IonicForm, ResinFamily, SegregationClass
from regenplant.resins.models import LotParent, ResinLot, ResinType
from regenplant.resins.selectors import forms_of

FRACTION_SLACK = 1e-6
"""How far shares may miss one hundred percent by rounding."""


def _lot_subject(lot: ResinLot) -> tuple[str, str, str]:
    return ("resin_lot", str(lot.pk), lot.code)


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
) -> Outcome:
    """A body of resin that comes into the plant's books: delivered new, or found in a tank whose past is not recorded.

    Raises: RecordRefused, OutOfRange.
    """
    resin_type = _resin_type(resin_type_id)
    values = _lot_values(code, resin_type, segregation_class, volume_m3, volume_form, origin, cycles)
    lot = ResinLot.objects.create(**values, made_at=by.happened_at)
    return Outcome(
        subject=_lot_subject(lot),
        after={"volume_m3": volume_m3, "volume_form": volume_form, "segregation_class": segregation_class},
        facts={"shown": _volume(volume_m3, volume_form), "resin": resin_type.code, "origin": lot.origin},
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
) -> Outcome:
    """A lot made from older ones, each with its share; shares under one leave a rest of unrecorded origin.

    Raises: RecordRefused for a parent that is scrapped, of another resin type, or of a class this lot may not have;
    OutOfRange for shares above one.
    """
    resin_type = _resin_type(resin_type_id)
    values = _lot_values(code, resin_type, segregation_class, volume_m3, volume_form, origin, cycles)
    within(capacity_factor, 0.01, 1.2, "The capacity factor", "ratio", field="capacity_factor")
    shares = _shares(parents)
    older = {lot.pk: lot for lot in ResinLot.objects.select_related("resin_type").filter(pk__in=shares)}
    if len(older) != len(shares):
        raise RecordRefused(
            "One of the lots this one is made from is not known here.", code="unknown", field="parents"
        )
    for parent in older.values():
        _refuse_parent(parent, resin_type, segregation_class)
    lot = ResinLot.objects.create(**values, capacity_factor=capacity_factor, made_at=by.happened_at)
    LotParent.objects.bulk_create(
        LotParent(child=lot, parent_id=pk, fraction=share) for pk, share in shares.items()
    )
    return Outcome(
        subject=_lot_subject(lot),
        after={
            "volume_m3": volume_m3,
            "volume_form": volume_form,
            "cycles": cycles,
            "capacity_factor": capacity_factor,
        },
        facts={
            "shown": _volume(volume_m3, volume_form),
            "origin": lot.origin,
            "parents": {older[pk].code: share for pk, share in shares.items()},
            "from": ", ".join(f"{older[pk].code} ({100 * share:.0f} %)" for pk, share in shares.items())
            or "no recorded lot",
        },
        related=tuple(("resin_lot", str(pk)) for pk in shares),
        result=lot,
    )


@use_case("resin_lot.scrapped", permission="resin.edit")
def scrap_lot(*, by: By, lot_id: int, reason: str) -> Outcome:
    """A body of resin that goes out of use for good. Raises: RecordRefused."""
    lot = ResinLot.objects.select_for_update().filter(pk=lot_id).first()
    if lot is None:
        raise RecordRefused("This resin lot is not known here.", code="unknown")
    if lot.is_scrapped:
        raise RecordRefused(f"{lot.code} is scrapped already.", code="scrapped")
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    ResinLot.objects.filter(pk=lot.pk).update(is_scrapped=True)
    lot.is_scrapped = True
    return Outcome(
        subject=_lot_subject(lot),
        before={"is_scrapped": False},
        after={"is_scrapped": True},
        reason=words,
        result=lot,
    )


def _resin_type(pk: int) -> ResinType:
    found = ResinType.objects.filter(pk=pk).first()
    if found is None:
        raise RecordRefused("This resin type is not known here.", code="unknown", field="resin_type")
    return found


def _lot_values(
    code: str,
    resin_type: ResinType,
    segregation_class: str,
    volume_m3: float,
    volume_form: str,
    origin: str,
    cycles: int,
) -> dict[str, object]:
    code = code_of(code, "The lot’s code")
    refuse_known(ResinLot, code, "Resin lot")
    one_of(
        segregation_class, [item.value for item in SegregationClass], "The class", field="segregation_class"
    )
    within(volume_m3, 1e-4, 50.0, "The volume", "resin_volume", field="volume_m3")
    forms = forms_of(ResinFamily(resin_type.family))
    if volume_form not in forms:
        names = ", ".join(IonicForm(form).label for form in forms)
        raise RecordRefused(
            f"{resin_type.code} is not counted in the form {volume_form}. Possible: {names}.",
            field="volume_form",
        )
    words = words_of(origin, "The origin", field="origin", most=200, least=3)
    within(cycles, 0, 5000, "The number of regenerations", "count", field="cycles")
    return {
        "code": code,
        "resin_type": resin_type,
        "segregation_class": segregation_class,
        "volume_m3": volume_m3,
        "volume_form": volume_form,
        "origin": words,
        "cycles": cycles,
    }


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


def _refuse_parent(parent: ResinLot, resin_type: ResinType, segregation_class: str) -> None:
    """Scrapped, other resin, or a class that would rise: a pool is left downward once (C to D), never upward."""
    if parent.is_scrapped:
        raise RecordRefused(
            f"{parent.code} is scrapped; no lot is made from it.", field="parents", code="scrapped"
        )
    if parent.resin_type_id != resin_type.pk:
        raise RecordRefused(
            f"{parent.code} is {parent.resin_type.code}, the new lot {resin_type.code}. Resin types are never mixed.",
            field="parents",
            code="mixed_pool",
        )
    goes_down = (parent.segregation_class, segregation_class) == (
        SegregationClass.HIGH_PURITY.value,
        SegregationClass.INDUSTRIAL.value,
    )
    if parent.segregation_class != segregation_class and not goes_down:
        raise RecordRefused(
            f"{parent.code} is class {parent.segregation_class}, the new lot class {segregation_class}. Classes are never mixed; "
            "only class C may go down to D, once, with a record.",
            field="parents",
            code="mixed_pool",
        )


def _volume(volume_m3: float, form: str) -> str:
    return f"{units.twin(volume_m3, 'resin_volume')}, {IonicForm(form).label}"


say("resin_lot.received", "Resin lot {subject} was received: {shown} of {resin}, {origin}")
say("resin_lot.mixed", "Resin lot {subject} was made: {shown}, from {from}")
say("resin_lot.scrapped", "Resin lot {subject} was scrapped")
