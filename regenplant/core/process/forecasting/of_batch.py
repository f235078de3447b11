"""From what a batch holds to what a forecast takes: resin family and readings as they were read."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.errors import OutOfRange
from regenplant.core.process.forecasting.rinse_so_far import ReadingSoFar, RinsedBed
from regenplant.core.process.specification import RinseReading
from regenplant.core.process.vocabulary import ResinFamily

_BEDS = {
    ResinFamily.SAC_HYDROGEN: RinsedBed.CATION_AFTER_ACID,
    ResinFamily.WAC_HYDROGEN: RinsedBed.CATION_AFTER_ACID,
    ResinFamily.SAC_SODIUM: RinsedBed.SOFTENER_AFTER_BRINE,
    ResinFamily.SBA_TYPE_1: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.SBA_TYPE_2: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.SBA_ACRYLIC: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.WBA: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.MIXED_BED: RinsedBed.MIXED_BED,
    ResinFamily.MIXED_BED_POLISHING: RinsedBed.MIXED_BED,
}
_STREAMS = {
    RinsedBed.CATION_AFTER_ACID: Compensation.ACID,
    RinsedBed.ANION_AFTER_CAUSTIC: Compensation.BASE,
    RinsedBed.MIXED_BED: Compensation.NEUTRAL,
    RinsedBed.SOFTENER_AFTER_BRINE: Compensation.NEUTRAL,
}
_LEAST_SIEMENS_PER_M = 0.95 * 5.5e-6
"""Pure water at 25 °C less a meter's usual uncertainty: what reads less is no water [S/m]."""


def bed_of(family: ResinFamily) -> RinsedBed | None:
    """What is rinsed when this family is regenerated; None where no rinse-down is forecast (carbon).

    The proof of the forecast covers strong-acid cation, strong-base anion, mixed beds and softeners; weak resins are taken as the
    strong one of their sign, which is less sure.
    """
    return _BEDS.get(family)


def readings_of(readings: Sequence[RinseReading], bed: RinsedBed) -> tuple[ReadingSoFar, ...]:
    """Readings that stand, in the order of time, brought to 25 °C by the kind of water at this stage.

    Time counts from the first one where it was taken from another zero. A reading that cannot be brought to 25 °C (better than water can
    be, or at an impossible temperature) asks for a look at the instrument and is left out here, as it is in the judgement.
    """
    ordered = sorted(readings, key=lambda reading: (reading.at_s, reading.volume_bv))
    found: list[ReadingSoFar] = []
    for reading in ordered:
        try:
            value = reading.at_25_celsius(_STREAMS[bed])
        except OutOfRange:
            continue
        if value < _LEAST_SIEMENS_PER_M:
            continue
        found.append(
            ReadingSoFar(reading.volume_bv, reading.at_s - ordered[0].at_s, value, reading.temperature_kelvin)
        )
    return tuple(found)
