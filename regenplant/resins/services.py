"""Acts on resin types and resin lots. A lot is a body of resin: lots mix and split, and the shares are kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import (
    code_of,
    one_of,
    refuse_known,
    saved_words,
    values_of,
    within,
    words_of,
    write_changed,
)
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import IonicForm, ResinFamily, SegregationClass
from regenplant.resins.models import LotParent, ResinLot, ResinType

FRACTION_SLACK = 1e-6
"""How far shares may miss one hundred percent by rounding."""


@dataclass(frozen=True, slots=True)
class ResinTypeSettings:
    """A resin by class and properties, as the plant's data sheet says. Swelling: from exhausted to regenerated form."""

    code: str
    description: str
    family: str
    total_capacity_eq_per_m3: float
    operating_capacity_eq_per_m3: float
    bead_diameter_m: float
    bead_density_kg_per_m3: float
    max_temperature_kelvin: float
    grade: str = "working"
    settled_void_frac: float = 0.38
    swelling_frac: float = 0.0
    data_source: str = ""
    is_active: bool = True


# --- types ----------------------------------------------------------------------------------------------------------
def _type_subject(resin_type: ResinType) -> tuple[str, str, str]:
    return ("resin_type", str(resin_type.pk), resin_type.code)


@use_case("resin_type.added", permission="resin.edit")
def add_resin_type(*, by: By, resin_type: ResinTypeSettings) -> Outcome:
    """Add a resin type. Raises: RecordRefused, OutOfRange."""
    values = _type_values(resin_type)
    refuse_known(ResinType, str(values["code"]), "Resin type")
    record = ResinType.objects.create(**values)
    return Outcome(
        subject=_type_subject(record), after={"family": record.family, "grade": record.grade}, result=record
    )


@use_case("resin_type.changed", permission="resin.edit")
def change_resin_type(
    *, by: By, resin_type_id: int, resin_type: ResinTypeSettings, version: int | None = None
) -> Outcome:
    """Change the data of a resin type. Code, family and grade are its identity and stay; running batches keep their plan.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    record = ResinType.objects.select_for_update().filter(pk=resin_type_id).first()
    if record is None:
        raise RecordRefused("This resin type is not known here.", code="unknown")
    values = _type_values(resin_type)
    for name in ("code", "family", "grade"):
        if values[name] != getattr(record, name):
            raise RecordRefused(
                f"The {name} of {record.code} stays {getattr(record, name)}: tanks and lots are pooled by it. Add a new resin type instead.",
                field=name,
            )
    before, after = write_changed(record, values, version=version, label=f"Resin type {record.code}")
    return Outcome(subject=_type_subject(record), before=before, after=after, result=record)


def _type_values(given: ResinTypeSettings) -> dict[str, object]:
    """Checked values. The bounds catch slips of unit; they are wide on purpose and no rule of the process."""
    code = code_of(given.code, "The resin type’s code")
    description = words_of(given.description, "The description", field="description", most=160, least=3)
    one_of(given.family, [family.value for family in ResinFamily], "The family", field="family")
    grade = words_of(given.grade, "The grade", field="grade", most=20, least=2)
    total = within(
        given.total_capacity_eq_per_m3,
        200.0,
        6000.0,
        "Total capacity",
        "capacity",
        field="total_capacity_eq_per_m3",
    )
    within(
        given.operating_capacity_eq_per_m3, 50.0, total, "Operating capacity", "capacity",
        field="operating_capacity_eq_per_m3", why="It never exceeds the total capacity.",
    )  # fmt: skip
    within(given.bead_diameter_m, 0.0001, 0.003, "Bead diameter", "length", field="bead_diameter_m")
    within(
        given.bead_density_kg_per_m3,
        1005.0,
        1600.0,
        "Density of the wet bead",
        "density",
        field="bead_density_kg_per_m3",
    )
    within(
        given.max_temperature_kelvin,
        293.15,
        423.15,
        "Highest temperature",
        "temperature",
        field="max_temperature_kelvin",
    )
    within(
        given.settled_void_frac,
        0.2,
        0.6,
        "Void share of the settled bed",
        "fraction",
        field="settled_void_frac",
    )
    within(given.swelling_frac, -0.3, 1.0, "Swelling", "fraction", field="swelling_frac")
    source = words_of(given.data_source, "The source of the data", field="data_source", most=200)
    return {
        **values_of(given),
        "code": code,
        "description": description,
        "grade": grade,
        "data_source": source,
    }


# --- lots -----------------------------------------------------------------------------------------------------------
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
    forms = _forms(ResinFamily(resin_type.family))
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


def _forms(family: ResinFamily) -> tuple[str, ...]:
    """Forms in which the volume of this family may be counted."""
    is_cation = family in (ResinFamily.SAC_HYDROGEN, ResinFamily.SAC_SODIUM)
    forms = (IonicForm.SODIUM, IonicForm.HYDROGEN) if is_cation else (IonicForm.CHLORIDE, IonicForm.HYDROXIDE)
    return tuple(form.value for form in forms)


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


say("resin_type.added", saved_words("Resin type"))
say("resin_type.changed", saved_words("Resin type"))
say("resin_lot.received", "Resin lot {subject} was received: {shown} of {resin}, {origin}")
say("resin_lot.mixed", "Resin lot {subject} was made: {shown}, from {from}")
say("resin_lot.scrapped", "Resin lot {subject} was scrapped")
