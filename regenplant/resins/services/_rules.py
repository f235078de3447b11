"""What the acts on resin lots share: how a lot is named, what its values may be, and which lots may meet."""

from __future__ import annotations

from regenplant import units
from regenplant.audit.records import code_of, one_of, refuse_known, within, words_of
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import IonicForm, ResinFamily, SegregationClass
from regenplant.resins.models import ResinLot, ResinType
from regenplant.resins.selectors import forms_of


def lot_subject(lot: ResinLot) -> tuple[str, str, str]:
    return ("resin_lot", str(lot.pk), lot.code)


def resin_type_of(pk: int) -> ResinType:
    found = ResinType.objects.filter(pk=pk).first()
    if found is None:
        raise RecordRefused("This resin type is not known here.", code="unknown", field="resin_type")
    return found


def lot_values(
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


def owner_of(segregation_class: str, dedicated_to: str) -> str:
    """The customer's code of dedicated resin. Raises: RecordRefused for an owner of resin that is nobody's."""
    code = dedicated_to.strip().upper()
    if code and segregation_class != SegregationClass.DEDICATED.value:
        raise RecordRefused(
            f"Resin of class {segregation_class} is nobody’s own; {code} was written. Only class A is dedicated.",
            field="dedicated_to",
            code="not_dedicated",
        )
    return code


def refuse_parent(parent: ResinLot, resin_type: ResinType, segregation_class: str) -> None:
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


def volume_words(volume_m3: float, form: str) -> str:
    return f"{units.twin(volume_m3, 'resin_volume')}, {IonicForm(form).label}"


def key_words(lot: ResinLot) -> str:
    """The pooling key of a lot in words."""
    owner = f", dedicated to {lot.dedicated_to}" if lot.dedicated_to else ""
    return f"{lot.resin_type.code} of class {lot.segregation_class}{owner}"
