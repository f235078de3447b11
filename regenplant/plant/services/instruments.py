"""Acts on the register of measuring instruments."""

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
from regenplant.plant.in_use import used_by
from regenplant.plant.models import COMPENSATIONS, Instrument
from regenplant.plant.services._standing import take_out_for_change

LONGEST_INTERVAL_DAYS = 3 * 366
"""A bound against slips, as for a calibration."""
ASKS_ANEW = ("kind", "cell_constant_per_cm", "compensation")
"""What a calibration holds for: changed, the instrument proves nothing until the next one."""


@dataclass(frozen=True, slots=True)
class InstrumentSettings:
    """An instrument as its papers say. ``uncertainty_frac`` is the stated relative uncertainty of a reading."""

    code: str
    name: str
    kind: str
    cell_constant_per_cm: float | None = None
    compensation: str = ""
    uncertainty_frac: float = 0.01
    is_active: bool = True
    interval_days: int | None = None
    """From one calibration to the next; None for the proposal of its kind."""


def _subject(instrument: Instrument) -> tuple[str, str, str]:
    return ("instrument", str(instrument.pk), instrument.code)


@use_case("instrument.saved", permission="plant.edit")
def save_instrument(*, by: By, instrument: InstrumentSettings, version: int | None = None) -> Outcome:
    """Add an instrument, or change the one with this code. It proves nothing until its calibration is written.

    Another cell constant or compensation takes it out of service until it is calibrated anew.

    Raises: RecordRefused (also for such a change while something reads with it), OutOfRange, StaleRecord.
    """
    code = code_of(instrument.code, "The instrument’s code", longest=16)
    _refuse_instrument(instrument)
    values = {**values_of(instrument), "code": code, "name": instrument.name.strip()}
    record = Instrument.objects.select_for_update().filter(code=code).first()
    if record is None:
        record = Instrument.objects.create(**values)
        return Outcome(
            subject=_subject(record), after={"name": record.name, "kind": record.kind}, result=record
        )
    if version is None:
        refuse_known(Instrument, code, "Instrument")
    _mind_change(by, record, values)
    before, after = write_changed(record, values, version=version, label=f"Instrument {code}")
    return Outcome(subject=_subject(record), before=before, after=after, result=record)


def _mind_change(by: By, record: Instrument, values: dict[str, Any]) -> None:
    """Refuse a change under a reading, and take the instrument out of service where a calibration held for what it was."""
    changed = [name for name in ASKS_ANEW if getattr(record, name) != values[name]]
    if not changed:
        return
    if user := used_by(record.pk):
        raise RecordRefused(
            f"{user}. Change {record.code} when that is over, or take another instrument first.",
            field=changed[0],
            code="in_use",
        )
    if record.calibrated_on is None:
        return
    names = " and ".join(name.replace("_per_cm", "").replace("_", " ") for name in changed)
    since = take_out_for_change(by, record, f"Another {names} asks for a calibration.")
    values["out_of_service_at"] = record.out_of_service_at or since


def _refuse_instrument(instrument: InstrumentSettings) -> None:
    words_of(instrument.name, "The instrument’s name", field="name", most=80, least=2)
    one_of(instrument.kind, Instrument.Kind.values, "The kind", field="kind")
    within(
        instrument.uncertainty_frac,
        0.0001,
        0.5,
        "The stated uncertainty",
        "fraction",
        field="uncertainty_frac",
    )
    if instrument.interval_days is not None and not 1 <= instrument.interval_days <= LONGEST_INTERVAL_DAYS:
        raise RecordRefused(
            f"The interval is {instrument.interval_days} days; possible is 1 to {LONGEST_INTERVAL_DAYS}.",
            field="interval_days",
        )
    is_cell = instrument.kind == Instrument.Kind.CONDUCTIVITY
    if is_cell and not instrument.compensation:
        raise RecordRefused(
            "A conductivity cell needs to say how its meter compensates for temperature: none, neutral, acid, base, or a flat 2 % per kelvin. "
            "It stands in the meter’s set-up menu.",
            field="compensation",
        )
    if not is_cell and (instrument.compensation or instrument.cell_constant_per_cm is not None):
        raise RecordRefused(
            "Only a conductivity cell has a cell constant and a compensation. Leave both empty, or choose the kind again.",
            field="kind",
        )
    if instrument.compensation:
        one_of(instrument.compensation, COMPENSATIONS, "The compensation", field="compensation")
    if instrument.cell_constant_per_cm is not None:
        within(
            instrument.cell_constant_per_cm,
            0.001,
            100.0,
            "The cell constant in 1/cm",
            "ratio",
            field="cell_constant_per_cm",
        )


say("instrument.saved", saved_words("Instrument"))
