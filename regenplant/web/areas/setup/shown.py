"""Records of the set-up as pairs of term and value, in both unit systems, and as sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from django.utils import timezone

from regenplant import units
from regenplant.core.process.discharge import PermitContent
from regenplant.core.process.vocabulary import Chemical, ResinFamily, SegregationClass
from regenplant.plant.calibrations import Due, interval_days
from regenplant.plant.models import Calibration, Instrument, PlantProfile, Vessel
from regenplant.plant.selectors import is_eyewash_overdue
from regenplant.resins.models import ResinType
from regenplant.web.presenters.bed import made_for

Rows = list[tuple[str, str]]
NONE = "–"


def both(value: float | None, kind: str, system: str) -> str:
    """Both unit systems, the reader's first; an en dash when not written."""
    return NONE if value is None else units.twin(value, kind, system)


def count(number: int, one: str, many: str = "") -> str:
    """ "1 vessel", "3 vessels"."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(words: Iterable[str]) -> str:
    found = list(words)
    return ", ".join(found) if found else "none"


def vessel_rows(vessel: Vessel, system: str) -> Rows:
    chemical = Chemical(vessel.last_chemical).label if vessel.last_chemical else "none since it was cleaned"
    return [
        ("Made for", listed(ResinFamily(value).label for value in vessel.families)),
        *([("Of a mixed bed", "the anion leg only")] if vessel.takes_anion_leg_only else []),
        (
            "Classes",
            listed(f"{value} ({SegregationClass(value).label})" for value in vessel.segregation_classes),
        ),
        (
            "Chemicals piped to it",
            listed(Chemical(value).label for value in vessel.chemicals)
            if vessel.chemicals
            else "not written down",
        ),
        ("Inside diameter", both(vessel.internal_diameter_m, "length", system)),
        ("Straight height", both(vessel.straight_height_m, "length", system)),
        ("Bed, smallest", both(vessel.bed_volume_min_m3, "resin_volume", system)),
        ("Bed, largest", both(vessel.bed_volume_max_m3, "resin_volume", system)),
        ("Largest flow", both(vessel.max_flow_m3_per_s, "flow", system)),
        ("Side outlet, above the bed support", both(vessel.side_outlet_height_m, "length", system)),
        (
            "Air for mixing at the pressure in the vessel, at most",
            both(vessel.air_max_m3_per_s, "air_flow", system),
        ),
        ("Lining", vessel.lining or NONE),
        ("Last chemical", chemical if vessel.is_flushed else f"{chemical}, not flushed yet"),
        ("Last class", vessel.last_segregation_class or NONE),
        ("In use", "yes" if vessel.is_active else "no"),
    ]


def vessel_sentence(vessel: Vessel) -> str:
    if vessel.is_locked_out:
        return (
            f"Locked out with lock {vessel.lock_out_number} by {vessel.lock_out_by}. No batch starts in it."
        )
    if not vessel.is_active:
        return "Taken out of use. No batch is planned for it."
    if not vessel.is_flushed:
        return "Not flushed since its last chemical."
    return f"{vessel.name}. It may take {made_for(vessel)} of class {listed(vessel.segregation_classes)}."


def instrument_rows(instrument: Instrument, system: str) -> Rows:
    own = "" if instrument.interval_days else ", the proposal of its kind"
    rows = [
        ("Kind", instrument.get_kind_display()),
        ("Stated uncertainty of a reading", both(instrument.uncertainty_frac, "fraction", system)),
        ("Calibrated on", str(instrument.calibrated_on or "never")),
        ("Next one due on", str(instrument.calibration_due_on or NONE)),
        ("From one calibration to the next", f"{count(interval_days(instrument), 'day')}{own}"),
        ("In use", "yes" if instrument.is_active else "no"),
    ]
    if instrument.kind == Instrument.Kind.CONDUCTIVITY:
        constant = (
            NONE if instrument.cell_constant_per_cm is None else f"{instrument.cell_constant_per_cm:g} 1/cm"
        )
        rows[1:1] = [("Cell constant", constant), ("The meter compensates", instrument.compensation)]
    return rows


def instruments_sentence(due: Mapping[str, Due], failed: Iterable[str]) -> str:
    """What the list of instruments opens with: the worst first. ``failed`` were found outside, and nobody looked yet."""

    def those(*wanted: Due) -> list[str]:
        return [code for code, one in due.items() if one in wanted]

    parts = [
        (list(dict.fromkeys(failed)), "found outside tolerance, and its impact waits for a look."),
        (those(Due.OUT_OF_SERVICE), "out of service, so readings prove nothing."),
        (those(Due.OVERDUE, Due.NEVER), "calibration is due, so readings prove nothing."),
        (those(Due.TODAY), "due today."),
        (those(Due.SOON), "due soon."),
    ]
    said = [f"{listed(codes)}: {words}" for codes, words in parts if codes]
    return " ".join(said) or "Every instrument in use is in calibration."


def calibrated_sentence(instrument: Instrument) -> str:
    """The receipt of a calibration."""
    if instrument.out_of_service_at is not None:
        return f"Written: {instrument.code} stays out of service."
    return f"Written: {instrument.code} calibrated on {instrument.calibrated_on}, due on {instrument.calibration_due_on}."


def calibration_initial(row: Calibration) -> dict[str, object]:
    """A calibration for the form that corrects it; as typed."""
    names = (
        "due_on",
        "laboratory",
        "reference_kind",
        "reference",
        "certificate",
        "reference_expires_on",
        "note",
    )
    found: dict[str, object] = {name: getattr(row, name) for name in names}
    found |= {"calibrated_on": row.done_on, "done_time": timezone.localtime(row.done_at).time()}
    for point in row.points.all():
        found |= {
            f"reference_{point.position}": point.reference_as_typed,
            f"found_{point.position}": point.found_as_typed,
            f"left_{point.position}": point.left_as_typed,
            f"tolerance_{point.position}": point.tolerance_as_typed,
        }
    return found


def profile_rows(plant: PlantProfile, permit: PermitContent) -> Rows:
    return [
        ("Name", plant.name),
        ("Hall", plant.hall_name or NONE),
        ("Units shown by default", "US customary" if plant.unit_system == "us" else "metric"),
        ("Time zone", plant.time_zone),
        (
            "Discharge permit",
            f"{permit.number or 'no number'}, until {permit.expires_on or 'no day written'}",
        ),
        ("Permit, pH", f"{permit.ph_low:g} to {permit.ph_high:g}"),
        ("A strength check holds", count(plant.strength_check_max_age_days, "day")),
        ("Eyewash test every", count(plant.eyewash_test_interval_days, "day")),
        ("Eyewash last tested on", str(plant.eyewash_tested_on or "never")),
    ]


def eyewash_sentence(plant: PlantProfile, today: date) -> str:
    """ "" when the test is in time."""
    if not is_eyewash_overdue(plant, today):
        return ""
    if plant.eyewash_tested_on is None:
        return "No working eyewash test is written down. No chemical starts until one is."
    over = (today - plant.eyewash_tested_on).days - plant.eyewash_test_interval_days
    return f"The eyewash test is {count(over, 'day')} overdue. No chemical starts until it is written down."


def resin_type_rows(resin: ResinType, system: str) -> Rows:
    return [
        ("Family", ResinFamily(resin.family).label),
        ("Grade", resin.grade),
        *_mixture_rows(resin, system),
        *_capacity_rows(resin, system),
        (
            "Bead diameter, mean and spread",
            f"{both(resin.bead_diameter_m, 'bead_diameter', system)}, {both(resin.bead_diameter_spread_frac, 'fraction', system)}",
        ),
        (
            "Density of the wet bead, mean and spread",
            f"{both(resin.bead_density_kg_per_m3, 'density', system)}, {both(resin.bead_density_spread_kg_per_m3, 'density_difference', system)}",
        ),
        ("Void share of the settled bed", both(resin.settled_void_frac, "fraction", system)),
        ("Swelling, exhausted to regenerated", both(resin.swelling_frac, "fraction", system)),
        ("Highest temperature, regenerated", both(resin.max_temperature_kelvin, "temperature", system)),
        ("Source of the data", resin.data_source or NONE),
        ("In use", "yes" if resin.is_active else "no"),
    ]


def _mixture_rows(resin: ResinType, system: str) -> Rows:
    """The two resins of a mixed bed; nothing for any other type."""
    if resin.cation_type is None or resin.anion_type is None:
        return []
    return [
        ("Cation resin in it", f"{resin.cation_type.code}, {resin.cation_type.description}"),
        ("Anion resin in it", f"{resin.anion_type.code}, {resin.anion_type.description}"),
        ("Share of the cation resin, exhausted", both(resin.cation_share_frac, "fraction", system)),
    ]


def _capacity_rows(resin: ResinType, system: str) -> Rows:
    if ResinFamily(resin.family).is_exchanged:
        return [("Capacity", "none: carbon exchanges no ions")]
    return [
        ("Total capacity", both(resin.total_capacity_eq_per_m3, "capacity", system)),
        ("Operating capacity", both(resin.operating_capacity_eq_per_m3, "capacity", system)),
    ]
