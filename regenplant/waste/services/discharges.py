"""Acts on a discharge (EV-04): opened and mixed, read twice, released with a signature, closed with what went.

    open_discharge     the tank, the volume, the mixing
    set_mixing         mixing began, or stopped
    record_reading     pH and temperature with the instrument; also of what runs out after the release
    release_discharge  signed by somebody who took none of the readings that prove it
    close_discharge    what went: the waste tank falls, the day's masses grow
    give_up_discharge  nothing went

Nothing is opened or shut by the program: a person at the valve does it, after the release and with the SDS and the plant's procedure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from regenplant import units
from regenplant.audit import limits as record_limits
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import within, words_of, write_changed
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.discharge import TankReading, fault_of
from regenplant.core.process.sewer_budget import IONS, WORDS, Loads, budget_lines, over
from regenplant.people.models import Signature
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.models import Instrument, WasteTank
from regenplant.plant.permit import content_from, permit_in_force
from regenplant.plant.selectors import is_instrument_valid, plant_day, profile
from regenplant.waste.discharge_models import Discharge, DischargeReading
from regenplant.waste.discharges import (
    INFLOW,
    DischargeStanding,
    gone_on,
    loads_in,
    standing_at,
)
from regenplant.waste.excursion_models import Excursion
from regenplant.waste.models import WasteMovement
from regenplant.waste.release_content import moment_of, release_content
from regenplant.waste.services._excursions import open_excursion
from regenplant.waste.services._moving import take_out

State = Discharge.State
RELEASE_MEANING = "discharge released: mixed, read twice inside the permit, within the day’s budget"
COLDEST_KELVIN, HOTTEST_KELVIN = 273.15, 373.15
MORE_THAN_RELEASED_FRAC = 0.02
"""What a level gauge may be off before more went than was released; a proposal of this program."""
STRONGEST_KG_PER_M3 = 400.0
"""Bound against slips of unit: no water in a waste tank holds more of one ion."""


@dataclass(frozen=True, slots=True)
class ReadingAsRead:
    """pH and temperature in SI, with the words as typed."""

    ph: float
    temperature_kelvin: float
    ph_as_typed: str
    temperature_as_typed: str


def _subject(row: Discharge) -> tuple[str, str, str]:
    return ("discharge", row.number, row.number)


def _locked(discharge_id: int, *states: str) -> Discharge:
    row = Discharge.objects.select_for_update().filter(pk=discharge_id).first()
    if row is None:
        raise RecordRefused("This discharge is not known here.", code="unknown")
    if row.state not in states:
        raise StaleRecord(
            f"{row.number} is {row.get_state_display()} already. Look at its present state.",
            code="other_state",
        )
    return row


def _tank(tank_id: int) -> WasteTank:
    tank = WasteTank.objects.select_for_update().filter(pk=tank_id).first()
    if tank is None:
        raise RecordRefused("This waste tank is not known here.", code="unknown", field="tank")
    return tank


@use_case("discharge.opened", permission="discharge.record")
def open_discharge(*, by: By, tank_id: int, planned_volume_m3: float, is_mixing: bool = True) -> Outcome:
    """Begin to prove a tank. ``planned_volume_m3`` is what is to go; ``is_mixing``: mixing began when this happened.

    Raises: RecordRefused while another discharge of the tank is under way, OutOfRange.
    """
    tank = _tank(tank_id)
    other = Discharge.objects.filter(tank=tank, state__in=[State.OPEN, State.RELEASED]).first()
    if other is not None:
        raise RecordRefused(
            f"{other.number} of {tank.code} is under way. Close it or give it up first.", code="under_way"
        )
    within(
        planned_volume_m3, 0.001, max(tank.level_m3, 0.001), "The volume to discharge", "liquid_volume", field="planned_volume_m3",
        why=f"{tank.code} holds no more.",
    )  # fmt: skip
    row = Discharge.objects.create(
        number=next_number(Discharge, "number", "DC", 10001),
        tank=tank,
        planned_volume_m3=planned_volume_m3,
        mixing_since=by.happened_at if is_mixing else None,
        opened_by=by.user,
        opened_at=by.at,
    )
    return Outcome(
        subject=_subject(row),
        after={"state": row.state, "mixing_since": moment_of(row.mixing_since)},
        facts={"tank": tank.code, "shown": units.twin(planned_volume_m3, "liquid_volume")},
        related=(("waste_tank", str(tank.pk)),),
        result=row,
    )


@use_case("discharge.mixing_set", permission="discharge.record")
def set_mixing(*, by: By, discharge_id: int, is_mixing: bool, version: int | None = None) -> Outcome:
    """Mixing began, or stopped; a break makes what was read before it count for nothing. Raises: RecordRefused, StaleRecord."""
    row = _locked(discharge_id, State.OPEN)
    if is_mixing == (row.mixing_since is not None):
        raise RecordRefused(
            f"{row.number}: {'it is mixed already' if is_mixing else 'it is not mixed'}. Nothing was written.",
            code="nothing_changed",
        )
    before, after = write_changed(
        row, {"mixing_since": by.happened_at if is_mixing else None}, version=version, label=row.number
    )
    facts = {"answer": "mixing began" if is_mixing else "mixing stopped"}
    return Outcome(subject=_subject(row), before=before, after=after, facts=facts, result=row)


@use_case("discharge.reading_recorded", permission="discharge.record")
def record_reading(*, by: By, discharge_id: int, reading: ReadingAsRead, instrument_id: int) -> Outcome:
    """Write down one reading, for good. ``result`` is the reading.

    One outside the permit undoes the good ones before it; taken of what runs out after the release it is an excursion, and the outlet
    is to be shut at once. One of an instrument out of calibration, or written late, is kept and proves nothing.
    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    row = _locked(discharge_id, State.OPEN, State.RELEASED)
    instrument = Instrument.objects.filter(pk=instrument_id, kind=Instrument.Kind.PH).first()
    if instrument is None:
        raise RecordRefused("Choose the pH meter that was read.", field="instrument", code="unknown")
    within(reading.ph, 0.0, 14.0, "The pH", "ph", field="ph")
    within(
        reading.temperature_kelvin,
        COLDEST_KELVIN,
        HOTTEST_KELVIN,
        "The temperature",
        "temperature",
        field="temperature",
    )
    taken_at = by.happened_at
    if (
        taken_at < row.opened_at
        and row.state == State.OPEN
        and (row.mixing_since is None or taken_at < row.mixing_since)
    ):
        raise RecordRefused(
            f"{row.number} was opened later than this reading. What was read before it is no proof.",
            field="occurred_at",
            code="before_opening",
        )
    if taken_at > by.at:
        raise RecordRefused(
            "The reading is still to come. Write when it was taken.", field="occurred_at", code="to_come"
        )
    content = content_from(row.permit_text) if row.permit_text else permit_in_force(by.at).content
    fault = fault_of(content, TankReading(taken_at.timestamp(), reading.ph, reading.temperature_kelvin))
    number = row.readings.count() + 1
    made = DischargeReading.objects.create(
        discharge=row,
        number=number,
        taken_at=taken_at,
        ph=reading.ph,
        ph_as_typed=reading.ph_as_typed[:40],
        temperature_kelvin=reading.temperature_kelvin,
        temperature_as_typed=reading.temperature_as_typed[:40],
        instrument=instrument,
        instrument_was_valid=is_instrument_valid(instrument, plant_day(taken_at), taken_at),
        is_late=(by.at - taken_at).total_seconds() > record_limits.current().late_after_s,
        fault=fault,
        while_running=row.state == State.RELEASED,
        entered_by=by.user,
        entered_at=by.at,
    )
    if fault and made.while_running:
        open_excursion(
            by=by, kind=Excursion.Kind.WINDOW, happened_at=taken_at, discharge=row,
            words=f"While {row.number} ran out of {row.tank.code}: {fault}.",
        )  # fmt: skip
    return Outcome(
        subject=_subject(row),
        after={"reading": number, "ph": reading.ph, "temperature_kelvin": reading.temperature_kelvin},
        facts={
            "shown": f"pH {reading.ph_as_typed}, {reading.temperature_as_typed}",
            "meter": instrument.code,
            "standing": fault
            or (
                "inside the permit"
                if made.instrument_was_valid
                else "an instrument out of calibration, no proof"
            ),
        },
        related=(("instrument", str(instrument.pk)),),
        result=made,
    )


@use_case("discharge.released", permission="discharge.release")
def release_discharge(
    *,
    by: By,
    discharge_id: int,
    permit: SignaturePermit,
    measured_kg_per_m3: Mapping[str, float] | None = None,
    second: By | None = None,
    second_permit: SignaturePermit | None = None,
    version: int | None = None,
) -> Outcome:
    """Let the planned volume go, with a signature over the readings, the permit and the masses of the day.

    ``measured_kg_per_m3``: an analysis of the tank that stands in place of the worked-out composition, by ion [kg/m^3].
    Raises: RecordRefused naming everything that is missing, NotAllowed for who took a reading that proves it, SignatureRefused, StaleRecord.
    """
    row = _locked(discharge_id, State.OPEN)
    if version is not None and version != row.version:
        raise StaleRecord(
            f"{row.number} was changed since you opened it. Look at it, then sign.", present=row.version
        )
    measured = _measured(measured_kg_per_m3 or {})
    stands = standing_at(row, by.at, measured)
    if stands.blockers:
        raise RecordRefused(f"{row.number} is not released. {' '.join(stands.blockers)}", code="not_proven")
    _refuse_own_readings(by, row, stands)
    if stands.permit.content.is_released_by_two:
        _refuse_alone(by, row, second, second_permit)
    content = release_content(row, stands, measured)
    signature = _signed(permit, by, row, RELEASE_MEANING, "discharge_release", content)
    seconded = (
        _signed(
            second_permit,
            second,
            row,
            RELEASE_MEANING,
            "discharge_release_second",
            {**content, "first_digest": signature.digest},
        )
        if second is not None and second_permit is not None
        else None
    )
    values = {
        "state": State.RELEASED.value,
        "permit_version": stands.permit.version,
        "permit_text": canonical_text(stands.permit.content),
        "measured_kg_per_m3": measured,
        "released_by": by.user,
        "released_at": by.at,
        "signature": signature,
        "second_signature": seconded,
    }
    write_changed(row, values, version=version, label=row.number)
    return Outcome(
        subject=_subject(row),
        before={"state": State.OPEN.value},
        after={"state": State.RELEASED.value},
        facts={
            "tank": row.tank.code,
            "shown": units.twin(row.planned_volume_m3, "liquid_volume"),
            "permit": stands.permit.title,
        },
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
        result=row,
    )


@use_case("discharge.closed", permission="discharge.record")
def close_discharge(*, by: By, discharge_id: int, volume_m3: float, version: int | None = None) -> Outcome:
    """The outlet is shut: ``volume_m3`` went, by the levels. The waste tank falls by it, and the masses count on this plant day.

    What should not have happened is written down as it was and opens an excursion: inflow since the release, more than was released, a
    day beyond its budget. Raises: OutOfRange, StaleRecord.
    """
    row = _locked(discharge_id, State.RELEASED)
    if version is not None and version != row.version:
        raise StaleRecord(
            f"{row.number} was changed since you opened it. Look at it first.", present=row.version
        )
    tank = _tank(row.tank_id)
    within(
        volume_m3,
        0.0,
        tank.level_m3,
        "What went",
        "liquid_volume",
        field="volume_m3",
        why=f"{tank.code} held no more.",
    )
    ended_at = by.happened_at
    if row.released_at is not None and ended_at < row.released_at:
        raise RecordRefused(
            f"{row.number} was released later than that.", field="occurred_at", code="before_release"
        )
    stands = standing_at(row, by.at)
    loads = loads_in(stands.concentrations, volume_m3)
    if volume_m3 > 0.0:
        take_out(
            by=by,
            tank_id=tank.pk,
            volume_m3=volume_m3,
            why=f"discharge {row.number}",
            discharge_number=row.number,
        )
    values: dict[str, Any] = {
        "state": State.CLOSED.value,
        "closed_by": by.user,
        "closed_at": by.at,
        "ended_at": ended_at,
        "volume_m3": volume_m3,
        "mixing_since": None,
        "unknown_frac": stands.unknown_frac,
        **{f"{ion}_kg": loads.of(ion) for ion in IONS},
    }
    write_changed(row, values, version=version, label=row.number)
    for kind, words in _went_wrong(row, volume_m3):
        open_excursion(by=by, kind=kind, happened_at=ended_at, words=words, discharge=row)
    return Outcome(
        subject=_subject(row),
        before={"state": State.RELEASED.value},
        after={"state": State.CLOSED.value, "volume_m3": volume_m3},
        facts={
            "tank": tank.code,
            "shown": units.twin(volume_m3, "liquid_volume"),
            "masses": ", ".join(
                f"{WORDS[ion]} {units.format_quantity(loads.of(ion), 'mass')}" for ion in IONS
            ),
        },
        related=(("waste_tank", str(tank.pk)),),
        result=row,
    )


@use_case("discharge.given_up", permission="discharge.record")
def give_up_discharge(*, by: By, discharge_id: int, reason: str, version: int | None = None) -> Outcome:
    """Nothing went: the tank is treated, or another volume is to go. Raises: RecordRefused, StaleRecord."""
    row = _locked(discharge_id, State.OPEN, State.RELEASED)
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    before = row.state
    write_changed(
        row,
        {"state": State.GIVEN_UP.value, "reason": words, "mixing_since": None},
        version=version,
        label=row.number,
    )
    return Outcome(
        subject=_subject(row), before={"state": before}, after={"state": row.state}, reason=words, result=row
    )


# --- what they share --------------------------------------------------------------------------------------------------
def _measured(given: Mapping[str, float]) -> dict[str, float]:
    for ion, value in given.items():
        if ion not in IONS or not math.isfinite(value) or not 0.0 <= value <= STRONGEST_KG_PER_M3:
            raise OutOfRange(
                f"An analysis gives {', '.join(WORDS.values())} between 0 and {units.twin(STRONGEST_KG_PER_M3, 'concentration')}.",
                field=f"{ion}_kg_per_m3",
            )
    return {ion: given[ion] for ion in IONS if ion in given}


def _refuse_own_readings(by: By, row: Discharge, stands: DischargeStanding) -> None:
    own = [
        one.number
        for one, word in zip(stands.readings, stands.judged.standing, strict=True)
        if word == "good" and one.entered_by_id == by.user.pk
    ]
    if own:
        raise NotAllowed(
            f"You took a reading that proves {row.number}, so another person releases it.", code="own_work"
        )


def _refuse_alone(by: By, row: Discharge, second: By | None, permit: SignaturePermit | None) -> None:
    if second is None or permit is None:
        raise RecordRefused(
            f"Two people sign the release of {row.number}: that is the plant’s rule.",
            field="second_username",
            code="alone",
        )
    if second.user.pk == by.user.pk:
        raise NotAllowed("The second person is another person.", field="second_username", code="own_work")
    require(second, "discharge.release")


def _signed(
    permit: SignaturePermit, who: By, row: Discharge, meaning: str, kind: str, content: dict[str, Any]
) -> Signature:
    return bind(
        permit, by=who, meaning=meaning, record_kind=kind, record_key=row.number, record_version=1, content=content,
        zone=profile().time_zone,
    )  # fmt: skip


def _went_wrong(row: Discharge, volume_m3: float) -> list[tuple[Excursion.Kind, str]]:
    """What an ended discharge shows that should not have been."""
    found = []
    came = WasteMovement.objects.filter(
        tank=row.tank,
        kind__in=[kind.value for kind in INFLOW],
        moved_at__gt=row.released_at,
        moved_at__lte=row.closed_at,
    )
    if came.exists():
        words = f"Something came into {row.tank.code} between the release of {row.number} and its end: what went was not what had been read."
        found.append((Excursion.Kind.UNPROVEN, words))
    if volume_m3 > row.planned_volume_m3 * (1.0 + MORE_THAN_RELEASED_FRAC):
        words = f"{units.twin(volume_m3, 'liquid_volume')} went with {row.number}; {units.twin(row.planned_volume_m3, 'liquid_volume')} were released."
        found.append((Excursion.Kind.OTHER, words))
    content = content_from(row.permit_text)
    ended = row.ended_at or row.closed_at
    assert ended is not None
    gone = gone_on(plant_day(ended))
    own = Loads(*(getattr(row, f"{ion}_kg") for ion in IONS))
    before = Loads(*(gone.loads.of(ion) - own.of(ion) for ion in IONS))
    beyond = over(budget_lines(content.budget_kg(), gone=before, wanted=own))
    most = content.volume_m3_per_day
    said = [
        f"{WORDS[line.ion]} {units.twin(line.gone_kg + line.wanted_kg, 'mass')} of {units.twin(line.limit_kg, 'mass')}"
        for line in beyond
    ]
    if most is not None and gone.volume_m3 > most:
        said.append(
            f"volume {units.twin(gone.volume_m3, 'liquid_volume')} of {units.twin(most, 'liquid_volume')}"
        )
    if said:
        found.append(
            (
                Excursion.Kind.BUDGET,
                f"With {row.number} the day took more than the permit allows: {'; '.join(said)}.",
            )
        )
    return found


say("discharge.opened", "Discharge {subject} of {tank} was opened: {shown} are to go")
say("discharge.mixing_set", "Discharge {subject}: {answer}")
say("discharge.reading_recorded", "Discharge {subject} was read: {shown} by {meter}, {standing}")
say("discharge.released", "Discharge {subject} of {tank} was released: {shown} under {permit}")
say("discharge.closed", "Discharge {subject} of {tank} ended: {shown} went, with {masses}")
say("discharge.given_up", "Discharge {subject} was given up: {reason}")
