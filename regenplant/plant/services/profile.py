"""Acts on the plant's profile, and the weekly test of the eyewash."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from zoneinfo import available_timezones

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import one_of, saved_words, values_of, within, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.discharge import HIGHEST_PH, LOWEST_PH
from regenplant.plant.models import PlantProfile
from regenplant.plant.selectors import plant_day


@dataclass(frozen=True, slots=True)
class ProfileSettings:
    """Whose plant this is and what holds everywhere in it."""

    name: str
    hall_name: str = ""
    unit_system: str = "metric"
    time_zone: str = "UTC"
    permit_number: str = ""
    permit_expires_on: date | None = None
    permit_ph_low: float = 6.0
    permit_ph_high: float = 9.0
    strength_check_max_age_days: int = 7
    eyewash_test_interval_days: int = 7
    shower_places: str = ""
    spill_text: str = ""
    call_text: str = ""


@use_case("plant.profile_saved", permission="plant.edit")
def save_profile(*, by: By, profile: ProfileSettings, version: int | None = None) -> Outcome:
    """Write the plant's profile; the first time it is made.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    _refuse_profile(profile)
    values = values_of(profile)
    record = PlantProfile.objects.select_for_update().filter(pk=1).first()
    if record is None:
        record = PlantProfile.objects.create(pk=1, **values)
        return Outcome(subject=("plant", "1", record.name), after={"name": record.name}, result=record)
    before, after = write_changed(record, values, version=version, label="The plant’s profile")
    return Outcome(subject=("plant", "1", record.name), before=before, after=after, result=record)


def _refuse_profile(profile: ProfileSettings) -> None:
    words_of(profile.name, "The plant’s name", field="name", most=80, least=2)
    words_of(profile.hall_name, "The hall’s name", field="hall_name", most=80)
    one_of(profile.unit_system, units.SYSTEMS, "The unit system", field="unit_system")
    if profile.time_zone not in available_timezones():
        raise RecordRefused(
            f"The time zone “{profile.time_zone}” is not known. Write it as area/city, for example America/Chicago.",
            field="time_zone",
        )
    words_of(profile.permit_number, "The permit number", field="permit_number", most=60)
    within(
        profile.permit_ph_low, LOWEST_PH, HIGHEST_PH, "The permit’s lowest pH", "ph", field="permit_ph_low"
    )
    within(
        profile.permit_ph_high, LOWEST_PH, HIGHEST_PH, "The permit’s highest pH", "ph", field="permit_ph_high"
    )
    if profile.permit_ph_low >= profile.permit_ph_high:
        raise OutOfRange(
            f"The permit’s lowest pH {profile.permit_ph_low:g} is not under its highest {profile.permit_ph_high:g}. "
            "Read both from the permit.",
            field="permit_ph_low",
        )
    within(
        profile.strength_check_max_age_days,
        1,
        31,
        "Days between strength checks",
        "count",
        field="strength_check_max_age_days",
    )
    within(
        profile.eyewash_test_interval_days,
        1,
        31,
        "Days between eyewash tests",
        "count",
        field="eyewash_test_interval_days",
    )
    for name in ("shower_places", "spill_text", "call_text"):
        words_of(getattr(profile, name), "The emergency text", field=name, most=2000)


@use_case("plant.eyewash_tested", permission="plant.daily")
def record_eyewash_test(
    *, by: By, tested_on: date, is_working: bool = True, note: str = "", version: int | None = None
) -> Outcome:
    """Write down a test of showers and eyewashes. One that fails counts as not tested: no chemical starts until it is put right.

    Raises: RecordRefused (a day to come, older than the last test, a failed test without a word), StaleRecord.
    """
    record = PlantProfile.objects.select_for_update().filter(pk=1).first()
    if record is None:
        raise RecordRefused("The plant has no profile yet. An administrator writes it first, under Set-up.")
    today, last = plant_day(by.at), record.eyewash_tested_on
    if tested_on > today:
        raise RecordRefused(
            f"{tested_on} is still to come; today is {today}. Write the day of the test.", field="tested_on"
        )
    if last is not None and tested_on < last:
        raise RecordRefused(f"A newer test, of {last}, is written. {tested_on} is older.", field="tested_on")
    words_of(note, "The note", field="note", most=200, least=0 if is_working else 5)
    # A second good test of the same day changes nothing in the profile, and is written in the log all the same.
    if (tested_on if is_working else None) == last and version in (None, record.version):
        before: dict[str, object] = {}
        after: dict[str, object] = {}
    else:
        values = {"eyewash_tested_on": tested_on if is_working else None}
        before, after = write_changed(record, values, version=version, label="The eyewash test")
    return Outcome(
        subject=("plant", "1", record.name),
        before=before,
        after=after,
        facts={"tested_on": tested_on.isoformat(), "answer": "works" if is_working else "does not work"},
        reason=note.strip(),
        result=record,
    )


say("plant.profile_saved", saved_words("The profile of"))
say("plant.eyewash_tested", "Showers and eyewashes were tested on {tested_on}: {answer}")
