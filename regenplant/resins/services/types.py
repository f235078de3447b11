"""Acts on resin types: a resin by class and properties, and which two resins make a mixed bed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.resins.models import ResinType


@dataclass(frozen=True, slots=True)
class ResinTypeSettings:
    """A resin by class and properties, as the plant's data sheet says. Swelling: from exhausted to regenerated form.

    A mixed bed names its two resins and the share of the cation resin in its volume; no other type does. Carbon has no
    exchange capacity: both capacities are 0.
    """

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
    bead_diameter_spread_frac: float = 0.15
    bead_density_spread_kg_per_m3: float = 5.0
    cation_type_id: int | None = None
    anion_type_id: int | None = None
    cation_share_frac: float | None = None


def _subject(resin_type: ResinType) -> tuple[str, str, str]:
    return ("resin_type", str(resin_type.pk), resin_type.code)


@use_case("resin_type.added", permission="resin.edit")
def add_resin_type(*, by: By, resin_type: ResinTypeSettings) -> Outcome:
    """Add a resin type. Raises: RecordRefused, OutOfRange."""
    values = _values(resin_type)
    refuse_known(ResinType, str(values["code"]), "Resin type")
    record = ResinType.objects.create(**values)
    return Outcome(
        subject=_subject(record),
        after={"family": record.family, "grade": record.grade},
        facts=_mixed_facts(record),
        result=record,
    )


@use_case("resin_type.changed", permission="resin.edit")
def change_resin_type(
    *, by: By, resin_type_id: int, resin_type: ResinTypeSettings, version: int | None = None
) -> Outcome:
    """Change the data of a resin type. Code, family and grade are its identity and stay, and so do the two resins of a mixed
    bed; running batches keep their plan.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    record = ResinType.objects.select_for_update().filter(pk=resin_type_id).first()
    if record is None:
        raise RecordRefused("This resin type is not known here.", code="unknown")
    values = _values(resin_type)
    for name in ("code", "family", "grade"):
        if values[name] != getattr(record, name):
            raise RecordRefused(
                f"The {name} of {record.code} stays {getattr(record, name)}: tanks and lots are pooled by it. Add a new resin type instead.",
                field=name,
            )
    for name in ("cation_type_id", "anion_type_id"):
        if values[name] != getattr(record, name):
            raise RecordRefused(
                f"The two resins of {record.code} stay as they are: its tanks hold them. Add a new resin type instead.",
                field=name,
                code="mixed_resins_stay",
            )
    before, after = write_changed(record, values, version=version, label=f"Resin type {record.code}")
    return Outcome(subject=_subject(record), before=before, after=after, result=record)


def _mixed_facts(record: ResinType) -> dict[str, Any]:
    if record.cation_type is None or record.anion_type is None:
        return {}
    return {
        "cation": record.cation_type.code,
        "anion": record.anion_type.code,
        "cation_share_frac": record.cation_share_frac,
    }


def _values(given: ResinTypeSettings) -> dict[str, Any]:
    """Checked values. The bounds catch slips of unit; they are wide on purpose and no rule of the process."""
    code = code_of(given.code, "The resin type’s code")
    description = words_of(given.description, "The description", field="description", most=160, least=3)
    one_of(given.family, [family.value for family in ResinFamily], "The family", field="family")
    grade = words_of(given.grade, "The grade", field="grade", most=20, least=2)
    family = ResinFamily(given.family)
    _refuse_capacities(given, family)
    for name, low, high, what, kind in _BOUNDS:
        within(getattr(given, name), low, high, what, kind, field=name)
    _refuse_mixture(given, family)
    source = words_of(given.data_source, "The source of the data", field="data_source", most=200)
    return {
        **values_of(given),
        "code": code,
        "description": description,
        "grade": grade,
        "data_source": source,
    }


_BOUNDS = (
    ("bead_diameter_m", 0.0001, 0.003, "Bead diameter", "bead_diameter"),
    ("bead_density_kg_per_m3", 1005.0, 1600.0, "Density of the wet bead", "density"),
    ("max_temperature_kelvin", 293.15, 423.15, "Highest temperature", "temperature"),
    ("settled_void_frac", 0.2, 0.6, "Void share of the settled bed", "fraction"),
    ("swelling_frac", -0.4, 1.0, "Swelling", "fraction"),
    ("bead_diameter_spread_frac", 0.0, 0.6, "Spread of the bead diameter", "fraction"),
    ("bead_density_spread_kg_per_m3", 0.0, 100.0, "Spread of the bead density", "density_difference"),
)


def _refuse_capacities(given: ResinTypeSettings, family: ResinFamily) -> None:
    if family.is_exchanged:
        for name in ("total_capacity_eq_per_m3", "operating_capacity_eq_per_m3"):
            if getattr(given, name) != 0.0:
                raise RecordRefused(
                    "Carbon exchanges no ions. Write 0 for its capacities.", field=name, code="no_capacity"
                )
        return
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


def _refuse_mixture(given: ResinTypeSettings, family: ResinFamily) -> None:
    """A mixed bed is one cation and one anion resin of this plant, with the share of the cation resin."""
    named = {"cation_type_id": given.cation_type_id, "anion_type_id": given.anion_type_id}
    if not family.is_mixed:
        for field, value in (*named.items(), ("cation_share_frac", given.cation_share_frac)):
            if value is not None:
                raise RecordRefused(
                    f"Only a mixed bed is made of two resins; {family.label} is one.",
                    field=field,
                    code="not_mixed",
                )
        return
    for field, pk in named.items():
        which = "cation" if field == "cation_type_id" else "anion"
        single = ResinType.objects.filter(pk=pk).first() if pk is not None else None
        if single is None:
            raise RecordRefused(
                f"Choose the {which} resin of this mixed bed.", field=field, code="mixed_resins_missing"
            )
        found = ResinFamily(single.family)
        if not (found.is_cation if which == "cation" else found.is_anion):
            raise RecordRefused(
                f"{single.code} is {found.label}; the {which} resin of a mixed bed is wanted here.",
                field=field,
                code="mixed_resins_wrong",
            )
    if given.cation_share_frac is None:
        raise RecordRefused(
            "Write the share of the cation resin in the volume of this mixed bed, both in their exhausted forms.",
            field="cation_share_frac",
            code="share_missing",
        )
    within(
        given.cation_share_frac, 0.1, 0.9, "Share of the cation resin", "fraction", field="cation_share_frac"
    )


say("resin_type.added", saved_words("Resin type"))
say("resin_type.changed", saved_words("Resin type"))
