"""When the content of a waste tank may go to the sewer: what the permit says, and which readings prove it.

The rule is of two good readings and no average: a reading outside the permit's window makes everything before it count for
nothing, whatever comes after. What flows into the tank, and treatment that is added, has the same effect: what was measured
before is another water. It advises and stops; the permit, local codes and the plant's authority decide.

Sources of the defaults and bounds
----------------------------------
lowest pH 5.0
    40 CFR 403.5(b)(2), as carried in local codes (read): nothing below pH 5.0 goes to a sewer. Works that are built for less are not
    provided for here.
pH below 12.5
    40 CFR 261.22 (read): from 12.5 on a water is a corrosive waste. The bound here, 12.0, keeps away from it.
pH 6.0 to 9.0, mixing 15 min, one hour for which readings hold
    common practice of the trade; the plant's permit overrides it.
40 °C
    40 CFR 403.5(b)(5), as carried in local codes (read): at the treatment works. Taken at the drain here, which is the safe side.
10 min between the two readings
    requirement EV-04 of this program.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from regenplant.core.errors import OutOfRange
from regenplant.core.process.sewer_budget import IONS, WORDS
from regenplant.core.process.wording import listed, say, say_range

LOWEST_PH, HIGHEST_PH = 5.0, 12.0
LEAST_APART_S, MOST_APART_S = 600.0, 7200.0
LEAST_MIXING_S, MOST_MIXING_S = 300.0, 7200.0
LEAST_HOLD_S, MOST_HOLD_S = 900.0, 86_400.0
COOLEST_MAX_KELVIN, WARMEST_MAX_KELVIN = 293.15, 333.15
MOST_KG_PER_DAY, MOST_M3_PER_DAY = 1e6, 1e5
"""Bounds against slips of unit."""


@dataclass(frozen=True, slots=True)
class PermitContent:
    """What one version of the discharge permit says. None: the permit names no such limit.

    ``number`` and ``expires_on`` (ISO day) are "" where nobody wrote them; nothing is discharged then.
    """

    number: str = ""
    authority: str = ""
    expires_on: str = ""
    ph_low: float = 6.0
    ph_high: float = 9.0
    temperature_max_kelvin: float = 313.15
    mixing_min_s: float = 900.0
    readings_apart_s: float = 600.0
    readings_hold_s: float = 3600.0
    """How long after the last of them the readings still speak for the tank at rest."""
    is_released_by_two: bool = False
    """The plant's own rule: a second person signs each release."""
    volume_m3_per_day: float | None = None
    chloride_kg_per_day: float | None = None
    sodium_kg_per_day: float | None = None
    sulfate_kg_per_day: float | None = None
    tds_kg_per_day: float | None = None

    def budget_kg(self) -> dict[str, float]:
        """Mass per plant day by ion, of those that the permit limits [kg]."""
        named = {ion: getattr(self, f"{ion}_kg_per_day") for ion in IONS}
        return {ion: float(value) for ion, value in named.items() if value is not None}


def refuse_permit(permit: PermitContent) -> None:
    """Raises OutOfRange for a permit that cannot be, or that this program never goes beyond."""

    def within(name: str, what: str, low: float, high: float, kind: str, why: str = "") -> None:
        value = getattr(permit, name)
        if value is not None and not low <= value <= high:
            raise OutOfRange(
                f"{what} is {say(value, kind)}; possible is {say_range(low, high, kind)}.{why}",
                field=name,
                seen=value,
                allowed_low=low,
                allowed_high=high,
            )

    sewer = " Nothing below pH 5 goes to a sewer."
    within("ph_low", "The permit’s lowest pH", LOWEST_PH, HIGHEST_PH, "ph", sewer)
    within("ph_high", "The permit’s highest pH", LOWEST_PH, HIGHEST_PH, "ph")
    if permit.ph_low >= permit.ph_high:
        raise OutOfRange(
            f"The permit’s lowest pH {permit.ph_low:g} is not under its highest {permit.ph_high:g}. Read both from the permit.",
            field="ph_low",
        )
    within(
        "temperature_max_kelvin",
        "The warmest water to the sewer",
        COOLEST_MAX_KELVIN,
        WARMEST_MAX_KELVIN,
        "temperature",
    )
    within("mixing_min_s", "The mixing", LEAST_MIXING_S, MOST_MIXING_S, "duration")
    within("readings_apart_s", "The time between the two readings", LEAST_APART_S, MOST_APART_S, "duration")
    within("readings_hold_s", "The time for which readings hold", LEAST_HOLD_S, MOST_HOLD_S, "duration")
    within("volume_m3_per_day", "The volume of a day", 1e-3, MOST_M3_PER_DAY, "liquid_volume")
    for ion in IONS:
        within(f"{ion}_kg_per_day", f"The {WORDS[ion]} of a day", 1e-3, MOST_KG_PER_DAY, "mass")
    if permit.expires_on:
        try:
            date.fromisoformat(permit.expires_on)
        except ValueError:
            raise OutOfRange(
                f"“{permit.expires_on}” is no day. Write year, month, day: 2027-06-30.", field="expires_on"
            ) from None


def why_not_in_force(permit: PermitContent, today: date) -> str:
    """Why nothing may go under this permit on this day; "" where it holds. Its last day is a day on which it holds."""
    if not permit.number or not permit.expires_on:
        missing = listed(
            [
                words
                for words, value in (("number", permit.number), ("last day", permit.expires_on))
                if not value
            ]
        )
        return f"The discharge permit is not on record whole; missing: {missing}. Nothing goes to the sewer until it is written."
    if today > date.fromisoformat(permit.expires_on):
        return f"Permit {permit.number} ended on {permit.expires_on}; today is {today.isoformat()}. Nothing goes to the sewer under it."
    return ""


@dataclass(frozen=True, slots=True)
class TankReading:
    """One reading of the mixed tank. ``at_s`` is on any clock that all readings share [s]."""

    at_s: float
    ph: float
    temperature_kelvin: float
    instrument_is_valid: bool = True
    """False: the instrument was out of calibration or out of service when it was read."""


def fault_of(permit: PermitContent, reading: TankReading) -> str:
    """What keeps this reading from being good, in words; "" where it is inside. What an invalid instrument showed is judged too."""
    said = []
    if not permit.ph_low <= reading.ph <= permit.ph_high:
        said.append(f"pH {say(reading.ph, 'ph')} is outside {say_range(permit.ph_low, permit.ph_high, 'ph')}")
    if reading.temperature_kelvin > permit.temperature_max_kelvin:
        said.append(
            f"{say(reading.temperature_kelvin, 'temperature')} is above {say(permit.temperature_max_kelvin, 'temperature')}"
        )
    return "; ".join(said)


@dataclass(frozen=True, slots=True)
class Judged:
    """What the readings prove. ``standing`` has one word for each reading, in their order."""

    missing: tuple[str, ...]
    """What is still missing, each a sentence; empty: two good readings stand."""
    standing: tuple[str, ...]
    """ "good", "outside", "instrument" (proves nothing), "before" (an outside reading or an inflow came after), "unmixed"."""
    good_from_s: float | None = None
    good_to_s: float | None = None

    @property
    def is_proven(self) -> bool:
        return not self.missing


def judge(
    permit: PermitContent,
    readings: Sequence[TankReading],
    *,
    mixing_since_s: float | None,
    changed_at_s: float | None,
    now_s: float,
) -> Judged:
    """Whether the mixed tank is proven to be inside the permit.

    Parameters
    ----------
    readings
        In any order.
    mixing_since_s : float or None
        Since when it is mixed without a break [s]; None: it is not.
    changed_at_s : float or None
        When something last flowed in or treatment was added [s]; None: not since the discharge was opened.
    now_s : float
        The moment of judging [s].

    Two good readings, the required time apart, of instruments in calibration, both after the mixing took its time and after the last
    reading outside. An outside reading counts against the tank also where its instrument was invalid: doubt stops.
    """
    starts = mixing_since_s
    if mixing_since_s is not None and changed_at_s is not None:
        starts = max(mixing_since_s, changed_at_s)
    mixed_s = None if starts is None else starts + permit.mixing_min_s
    outside = [one.at_s for one in readings if fault_of(permit, one)]
    last_outside_s = max(outside, default=None)
    standing = tuple(_standing(permit, one, mixed_s, changed_at_s, last_outside_s) for one in readings)
    good = sorted(one.at_s for one, word in zip(readings, standing, strict=True) if word == "good")
    missing = _missing(permit, good, mixed_s, now_s, bool(outside))
    return Judged(missing, standing, good[0] if good else None, good[-1] if good else None)


def _standing(
    permit: PermitContent,
    one: TankReading,
    mixed_s: float | None,
    changed_at_s: float | None,
    last_outside_s: float | None,
) -> str:
    if fault_of(permit, one):
        return "outside"
    if last_outside_s is not None and one.at_s <= last_outside_s:
        return "before"
    if changed_at_s is not None and one.at_s <= changed_at_s:
        return "before"
    if not one.instrument_is_valid:
        return "instrument"
    return "good" if mixed_s is not None and one.at_s >= mixed_s else "unmixed"


def _missing(
    permit: PermitContent, good: Sequence[float], mixed_s: float | None, now_s: float, was_outside: bool
) -> tuple[str, ...]:
    said = []
    if mixed_s is None:
        said.append("The tank is not being mixed. Start to mix, and write down when.")
    elif now_s < mixed_s:
        said.append(f"Mixing needs {say(mixed_s - now_s, 'duration')} more.")
    apart = say(permit.readings_apart_s, "duration")
    after = " after the last one outside" if was_outside else ""
    if not good:
        said.append(f"Two good readings, at least {apart} apart, are missing{after}.")
    elif good[-1] - good[0] < permit.readings_apart_s:
        said.append(f"A second good reading{after} is missing, at least {apart} after the first one.")
    elif now_s - good[-1] > permit.readings_hold_s:
        said.append(f"The last good reading is {say(now_s - good[-1], 'duration')} old. Read once more.")
    return tuple(said)
