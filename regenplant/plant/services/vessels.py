"""Acts on vessels: their settings, lock-out and lift, and what stood in them last."""

from __future__ import annotations

import math
from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import (
    code_of,
    refuse_known,
    saved_words,
    some_of,
    values_of,
    within,
    words_of,
    write_changed,
)
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import Chemical, ResinFamily, SegregationClass
from regenplant.plant.models import Vessel


@dataclass(frozen=True, slots=True)
class VesselSettings:
    """A vessel as its drawing and the plant's rules say."""

    code: str
    name: str
    internal_diameter_m: float
    straight_height_m: float
    bed_volume_min_m3: float
    bed_volume_max_m3: float
    families: tuple[str, ...]
    segregation_classes: tuple[str, ...]
    lining: str = ""
    max_flow_m3_per_s: float | None = None
    is_active: bool = True
    side_outlet_height_m: float | None = None
    """Height of the interface collector above the bed support; None where there is none."""
    air_max_m3_per_s: float | None = None
    """Clean air for mixing, at the pressure in the vessel; None where there is none."""
    chemicals: tuple[str, ...] = ()
    """What its lines bring to it; empty: not written down, so nothing is ruled out."""
    takes_anion_leg_only: bool = False
    """Of a mixed bed it takes the anion resin after the interface cut, never the whole bed."""


def _subject(vessel: Vessel) -> tuple[str, str, str]:
    return ("vessel", str(vessel.pk), vessel.code)


def _locked_row(vessel_id: int) -> Vessel:
    found = Vessel.objects.select_for_update().filter(pk=vessel_id).first()
    if found is None:
        raise RecordRefused("This vessel is not known here.", code="unknown")
    return found


@use_case("vessel.saved", permission="plant.edit")
def save_vessel(*, by: By, vessel: VesselSettings, version: int | None = None) -> Outcome:
    """Add a vessel (``version`` None and the code is new) or change the one with this code.

    Raises: RecordRefused, OutOfRange (each with its field), StaleRecord.
    """
    code = code_of(vessel.code, "The vessel’s code", longest=12)
    _refuse_vessel(vessel)
    values = {
        **values_of(vessel),
        "code": code,
        "name": vessel.name.strip(),
        "families": some_of(
            vessel.families, [f.value for f in ResinFamily], "Resin family", field="families"
        ),
        "segregation_classes": _classes(vessel.segregation_classes),
        "chemicals": _chemicals(vessel.chemicals),
    }
    record = Vessel.objects.select_for_update().filter(code=code).first()
    if record is None:
        record = Vessel.objects.create(**values)
        return Outcome(subject=_subject(record), after={"name": record.name}, result=record)
    if version is None:
        refuse_known(Vessel, code, "Vessel")
    before, after = write_changed(record, values, version=version, label=f"Vessel {code}")
    return Outcome(subject=_subject(record), before=before, after=after, result=record)


def _classes(chosen: tuple[str, ...]) -> list[str]:
    """Classes that may be regenerated at all; the others are never given a vessel."""
    allowed = [item.value for item in SegregationClass if item.may_be_regenerated]
    return some_of(chosen, allowed, "Class", field="segregation_classes")


def _chemicals(chosen: tuple[str, ...]) -> list[str]:
    """In the order of ``Chemical``; none at all is allowed."""
    allowed = [chemical.value for chemical in Chemical]
    return some_of(chosen, allowed, "Chemical", field="chemicals") if chosen else []


def _refuse_vessel(vessel: VesselSettings) -> None:
    """Bounds against slips of unit, not rules of the process: 0.1 to 5 m wide, 0.2 to 10 m high."""
    words_of(vessel.name, "The vessel’s name", field="name", most=80, least=2)
    words_of(vessel.lining, "The lining", field="lining", most=80)
    diameter = within(
        vessel.internal_diameter_m, 0.1, 5.0, "Inside diameter", "length", field="internal_diameter_m"
    )
    height = within(
        vessel.straight_height_m, 0.2, 10.0, "Straight height", "length", field="straight_height_m"
    )
    shell_m3 = math.pi / 4 * diameter**2 * height
    within(
        vessel.bed_volume_max_m3, 0.001, shell_m3, "Largest bed", "resin_volume", field="bed_volume_max_m3",
        why=f"The straight shell holds {units.twin(shell_m3, 'resin_volume')}, freeboard included.",
    )  # fmt: skip
    if not 0 < vessel.bed_volume_min_m3 <= vessel.bed_volume_max_m3:
        raise OutOfRange(
            f"Smallest bed is {units.twin(vessel.bed_volume_min_m3, 'resin_volume')}; it lies above zero and at most at the "
            f"largest bed, {units.twin(vessel.bed_volume_max_m3, 'resin_volume')}.",
            field="bed_volume_min_m3",
        )
    if vessel.max_flow_m3_per_s is not None:
        within(vessel.max_flow_m3_per_s, 1e-6, 0.5, "Largest flow", "flow", field="max_flow_m3_per_s")
    if vessel.side_outlet_height_m is not None:
        within(
            vessel.side_outlet_height_m, 0.05, 0.95 * height, "Height of the side outlet", "length",
            field="side_outlet_height_m", why="It lies between the bed support and the top of the straight shell.",
        )  # fmt: skip
    if vessel.air_max_m3_per_s is not None:
        within(vessel.air_max_m3_per_s, 1e-5, 1.0, "Air for mixing", "air_flow", field="air_max_m3_per_s")
    if vessel.takes_anion_leg_only and not any(
        family.is_mixed and family.value in vessel.families for family in ResinFamily
    ):
        raise RecordRefused(
            "It takes the anion leg only, and is made for no mixed bed. Choose the mixed bed it belongs to, or leave this out.",
            field="takes_anion_leg_only",
        )


@use_case("vessel.locked_out", permission="plant.lock_out")
def lock_out_vessel(
    *, by: By, vessel_id: int, number: str, reason: str, version: int | None = None
) -> Outcome:
    """Take a vessel out of work: no batch is planned for it and no step starts in it (CS-08).

    ``number`` is the number of the lock on the isolation. Raises: RecordRefused, StaleRecord.
    """
    vessel = _locked_row(vessel_id)
    if vessel.is_locked_out:
        raise RecordRefused(
            f"{vessel.code} is locked out already, with lock {vessel.lock_out_number} by {vessel.lock_out_by}: {vessel.lock_out_reason}",
            code="locked_out",
        )
    values = {
        "lock_out_number": words_of(number, "The lock’s number", field="number", most=20, least=1),
        "lock_out_reason": words_of(reason, "The reason", field="reason", most=200, least=5),
        "lock_out_at": by.at,
        "lock_out_by": by.user.full_name,
    }
    before, after = write_changed(vessel, values, version=version, label=f"Vessel {vessel.code}")
    return Outcome(
        subject=_subject(vessel),
        before=before,
        after=after,
        facts={"lock": number.strip()},
        reason=reason.strip(),
        result=vessel,
    )


@use_case("vessel.lock_out_lifted", permission="plant.lock_out")
def lift_lock_out(*, by: By, vessel_id: int, checked: str, version: int | None = None) -> Outcome:
    """Put a vessel back to work after looking: nobody inside, tools out, isolation opened as the plant's procedure says.

    The lock of another person is lifted only with the right to do so; whose lock it was stays in the record.

    Raises: RecordRefused, NotAllowed, StaleRecord.
    """
    vessel = _locked_row(vessel_id)
    if not vessel.is_locked_out:
        raise RecordRefused(f"{vessel.code} is not locked out.", code="not_locked_out")
    if vessel.lock_out_by != by.user.full_name:
        require(by, "plant.lift_lock_of_another")
    words = words_of(checked, "What was checked", field="checked", most=300, least=10)
    facts = {"lock": vessel.lock_out_number, "locked_by": vessel.lock_out_by}
    values = {"lock_out_number": "", "lock_out_reason": "", "lock_out_at": None, "lock_out_by": ""}
    before, after = write_changed(vessel, values, version=version, label=f"Vessel {vessel.code}")
    return Outcome(
        subject=_subject(vessel), before=before, after=after, facts=facts, reason=words, result=vessel
    )


@use_case("vessel.state_noted", permission="batch.run")
def note_vessel_state(
    *, by: By, vessel_id: int, last_chemical: str, is_flushed: bool, segregation_class: str
) -> Outcome:
    """What stood in the vessel last; written by the acts of a batch (CS-03). Leaves the version of the settings alone.

    Raises: RecordRefused for an unknown vessel; ValueError for a chemical or class that does not exist (a defect).
    """
    vessel = _locked_row(vessel_id)
    values = {
        "last_chemical": Chemical(last_chemical).value if last_chemical else "",
        "is_flushed": is_flushed,
        "last_segregation_class": SegregationClass(segregation_class).value if segregation_class else "",
    }
    before = {name: getattr(vessel, name) for name in values}
    Vessel.objects.filter(pk=vessel.pk).update(**values)
    for name, value in values.items():
        setattr(vessel, name, value)
    return Outcome(subject=_subject(vessel), before=before, after=values, result=vessel)


@use_case("vessel.cleaned_down", permission="batch.run")
def record_clean_down(*, by: By, vessel_id: int, note: str) -> Outcome:
    """A vessel emptied, flushed to its end point and looked into: the next batch may be of any class it is made for.

    Raises: RecordRefused without a note of what was done and what was read at its end.
    """
    vessel = _locked_row(vessel_id)
    words = words_of(note, "The note", field="note", most=300, least=10)
    before = {
        "last_chemical": vessel.last_chemical,
        "is_flushed": vessel.is_flushed,
        "last_segregation_class": vessel.last_segregation_class,
    }
    after = {"last_chemical": "", "is_flushed": True, "last_segregation_class": ""}
    Vessel.objects.filter(pk=vessel.pk).update(**after)
    return Outcome(subject=_subject(vessel), before=before, after=after, reason=words, result=vessel)


def _noted(subject: str, stored: dict[str, dict[str, object]]) -> str:
    after = stored.get("after", {})
    chemical = str(after.get("last_chemical") or "")
    flushed = "flushed" if after.get("is_flushed") else "not flushed"
    return f"Vessel {subject}: last {Chemical(chemical).label if chemical else 'no chemical'}, {flushed}"


say("vessel.saved", saved_words("Vessel"))
say("vessel.locked_out", "Vessel {subject} was locked out with lock {lock}: {reason}")
say(
    "vessel.lock_out_lifted",
    "Vessel {subject} went back to work; lock {lock} of {locked_by} was lifted. Checked: {reason}",
)
say("vessel.state_noted", _noted)
say("vessel.cleaned_down", "Vessel {subject} was cleaned down: {reason}")
