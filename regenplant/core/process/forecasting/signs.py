"""Signs that a rinse shows, read off its curve, its temperature and its chemistry; what they may mean is in ``causes.py``.

Thresholds are common practice and wide; a sign is something to look at, not a finding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Any

from regenplant.core.engineering.libraries import array_library
from regenplant.core.engineering.ranges import require_within
from regenplant.core.process.forecasting import history, shapes, tracks
from regenplant.core.process.forecasting.rinse_so_far import RinsedBed, RinseSoFar, checked

_FLAT = 0.06
"""ln of the fall over the last quarter of the volume passed, below which the curve stands."""
_PLATEAU_FACTOR = 1.8
"""A curve that goes on as now and ends within so many times the pool's usual volume stands on no plateau."""
_NEAR_FLOOR = 0.45
_BENT_LEVEL = math.log(8.0)
"""Further above the limit a bend may be the end of the displacement only."""
_PLATEAU_LEVEL = math.log(1.15)
_SLOW_FACTOR = 1.6
"""Slope in bed volumes per decade over the pool's usual one."""
_LATE_FACTOR = 1.5
"""Trade practice's watch level for time to end point: 1.5 times the median."""
_RISE = math.log(1.25)
_STEP_AFTER_FLOW = math.log(1.10)
_FLOW_CHANGE = math.log(1.25)
_ROUGH = 0.08
_SLOW_RINSE_BV = 3.0
"""Displacement takes 1 to 3 BV at the injection's flow; only after it the flow set for the fast rinse is to be expected."""
_COLD_KELVIN = 283.15
_FROZEN_READINGS = 6
_AGED = math.log(1.2)
"""Trade practice watches a trend of 20 % over 10 batches."""
_LEAST_SCATTER = 0.05


class Sign(StrEnum):
    """What may be seen."""

    PLATEAU = "plateau"
    SLOW = "slow"
    LATE = "late"
    RISE = "rise"
    STEP_ON_FLOW = "step_on_flow"
    SAW_TOOTH = "saw_tooth"
    AFTER_STANDSTILL = "after_standstill"
    COLD = "cold"
    WARM_START = "warm_start"
    FROZEN = "frozen"
    CLIPPED = "clipped"
    LOW_FLOW = "low_flow"
    RINSE_WATER_HIGH = "rinse_water_high"
    RINSE_WATER_ROSE = "rinse_water_rose"
    ACID = "acid"
    ALKALINE = "alkaline"
    HARDNESS = "hardness"
    SILICA = "silica"
    POOL_GIVES_UP = "pool_gives_up"
    POOL_AGES = "pool_ages"


@dataclass(frozen=True, slots=True)
class Chemistry:
    """What else is known of the water now; None where nobody has measured.

    ``ph`` of the water that leaves, 0 to 14; ``hardness_kg_per_m3`` as CaCO3 [kg/m^3]; ``silica_kg_per_m3`` as SiO2 [kg/m^3];
    ``silica_limit_kg_per_m3`` of the specification [kg/m^3]; ``rinse_water_siemens_per_m`` measured again now [S/m].
    """

    ph: float | None = None
    hardness_kg_per_m3: float | None = None
    silica_kg_per_m3: float | None = None
    silica_limit_kg_per_m3: float | None = None
    rinse_water_siemens_per_m: float | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """A sign with its strength, 0 to 1, and the sentence that says what was seen."""

    sign: Sign
    strength: float
    sentence: str


def seen(rinse: RinseSoFar, chemistry: Chemistry | None = None) -> tuple[Seen, ...]:
    """All signs of a rinse so far.

    Raises: OutOfRange for what cannot be a rinse, or a pH, hardness or silica that cannot be.
    """
    rinse = checked(rinse)
    raw = tracks.raw(rinse)
    track = tracks.track(rinse, raw)
    pool = history.of_pool(rinse.bed, rinse.history)
    found = _of_level(rinse, raw, track, pool)
    found += _of_course(rinse, raw)
    found += _of_meter(rinse, raw)
    found += _of_water(rinse, chemistry or Chemistry())
    found += _of_pool(rinse)
    return tuple(sorted(found, key=lambda each: -each.strength))


def _between_0_and_1(value: float) -> float:
    return min(max(value, 0.0), 1.0)


def _of_level(
    rinse: RinseSoFar, raw: tracks.Raw, track: tracks.Track, pool: history.PoolHistory
) -> list[Seen]:
    found: list[Seen] = []
    level = track.last_logarithm
    usual_end = math.exp(pool.centre)
    slopes = shapes.of_slopes(raw, track, pool)
    if len(raw.bv) >= 4 and slopes["fall_0.45_known"] > 0.0 and level > 0.0:
        found += _plateau(slopes, track, pool) or _slow(slopes, raw, track, pool)
    if pool.count >= 3 and track.last_bv > _LATE_FACTOR * usual_end and level > 0.0:
        found.append(Seen(
            Sign.LATE, _between_0_and_1(0.4 + 0.4 * math.log(track.last_bv / usual_end)),
            f"{track.last_bv:.2f} BV have passed; this pool usually ends at {usual_end:.2f} BV.",
        ))  # fmt: skip
    return found


def _plateau(slopes: dict[str, float], track: tracks.Track, pool: history.PoolHistory) -> list[Seen]:
    """It stands, or bends towards a floor above the limit, where this pool would be further."""
    level, fall = track.last_logarithm, slopes["fall_0.25"]
    floor = slopes["floor_0.65"]
    is_flat = fall * 0.25 < _FLAT and level > _PLATEAU_LEVEL and track.last_bv > 1.5
    bends = slopes["floor_0.65_known"] == 1.0 and floor > _PLATEAU_LEVEL and level - floor < _NEAR_FLOOR
    leads_to = track.last_bv * math.exp(slopes["leads_0.25"])
    is_usual = pool.count >= 3 and leads_to < _PLATEAU_FACTOR * math.exp(pool.centre)
    if is_usual or not (is_flat or (bends and level < _BENT_LEVEL)):
        return []
    sentence = f"The curve stands at {math.exp(level):.2g} times the limit."
    if not is_flat:
        sentence = f"The curve bends towards {math.exp(floor):.2g} times the limit; it is at {math.exp(level):.2g} times now."
    return [
        Seen(Sign.PLATEAU, max(_between_0_and_1(0.6 + 0.3 * min(level, 1.5) - fall * 0.25), 0.4), sentence)
    ]


def _slow(
    slopes: dict[str, float], raw: tracks.Raw, track: tracks.Track, pool: history.PoolHistory
) -> list[Seen]:
    """It falls, but more slowly than this pool does over its last decade."""
    if pool.count < 3 or slopes["fall_0.45"] <= 0.0 or track.last_logarithm >= math.log(10.0):
        return []
    if len(raw.logarithms) >= 3 and _lasting_rise(array_library(), raw.logarithms) > _RISE:
        return []
    decade = math.log(10.0) * track.last_bv / max(slopes["fall_0.45"], 0.05)
    usual = math.exp(pool.decade_ratio + pool.centre)
    if decade <= _SLOW_FACTOR * usual:
        return []
    return [Seen(
        Sign.SLOW, _between_0_and_1(0.3 + 0.5 * math.log(decade / usual)),
        f"It falls to a tenth in {decade:.2g} BV; usual for this pool is {usual:.2g} BV.",
    )]  # fmt: skip


def _of_course(rinse: RinseSoFar, raw: tracks.Raw) -> list[Seen]:
    np = array_library()
    found: list[Seen] = []
    rates = _rates(np, rinse, raw)
    steps = _flow_steps(np, rates)
    logarithms = raw.logarithms
    if len(logarithms) >= 3:
        rise = _lasting_rise(np, logarithms)
        if rise > _RISE:
            found.append(Seen(
                Sign.RISE, _between_0_and_1(0.4 + 0.4 * rise),
                f"After its lowest reading it rose by a factor of {math.exp(rise):.2g} and stayed up.",
            ))  # fmt: skip
    for step in steps:
        if (
            step + 2 < len(logarithms)
            and logarithms[step + 1 : step + 3].max() - logarithms[step] > _STEP_AFTER_FLOW
        ):
            found.append(Seen(
                Sign.STEP_ON_FLOW, 0.8,
                f"At {raw.bv[step + 1]:.2f} BV the flow rose and the conductivity with it.",
            ))  # fmt: skip
            break
    roughness = _alternation(np, logarithms)
    if roughness > _ROUGH:
        found.append(Seen(
            Sign.SAW_TOOTH, _between_0_and_1(0.3 + 3.0 * (roughness - _ROUGH)),
            f"Readings go up and down by about {roughness:.0%} in turn.",
        ))  # fmt: skip
    stood = _standstill_min(np, rinse, raw)
    if stood > 3.0:
        found.append(
            Seen(
                Sign.AFTER_STANDSTILL,
                _between_0_and_1(0.2 + stood / 90.0),
                f"The water stood for {stood:.0f} min.",
            )
        )
    moving = rates[rates > 0.0] if len(rates) else rates
    if len(moving) >= 3 and raw.bv[-1] > _SLOW_RINSE_BV and float(np.median(moving[-4:])) < 0.6:
        found.append(Seen(
            Sign.LOW_FLOW, 0.5,
            f"The flow is {float(np.median(moving[-4:])) * rinse.flow_bv_per_h:.2g} BV/h; set are {rinse.flow_bv_per_h:.2g} BV/h.",
        ))  # fmt: skip
    return found


def _rates(np: Any, rinse: RinseSoFar, raw: tracks.Raw) -> Any:
    """Flow over flow set between readings; 0 where no time passed."""
    minutes = np.diff(raw.minutes)
    volumes = np.diff(raw.bv)
    return np.where(minutes > 0.0, volumes / np.maximum(minutes, 1e-9) * 60.0 / rinse.flow_bv_per_h, 0.0)


def _flow_steps(np: Any, rates: Any) -> list[int]:
    """Numbers of the readings after which the flow is higher, not counting the end of a standstill."""
    return [
        number for number in range(1, len(rates))
        if rates[number - 1] > 0.15 and math.log(max(rates[number], 1e-3) / rates[number - 1]) > _FLOW_CHANGE
    ]  # fmt: skip


def _lasting_rise(np: Any, logarithms: Any) -> float:
    lowest = int(np.argmin(logarithms))
    after = logarithms[lowest + 1 :]
    return float(np.median(after) - logarithms[lowest]) if len(after) >= 2 else 0.0


def _alternation(np: Any, logarithms: Any) -> float:
    """Half the usual swing where readings change direction more often than not."""
    if len(logarithms) < 8:
        return 0.0
    late = logarithms[len(logarithms) // 2 :]
    bends = late[2:] - 2.0 * late[1:-1] + late[:-2]
    turns = np.diff(late)
    alternating = float((turns[1:] * turns[:-1] < 0.0).mean()) if len(turns) > 1 else 0.0
    return float(np.median(np.abs(bends))) / 2.0 if alternating > 0.4 else 0.0


def _standstill_min(np: Any, rinse: RinseSoFar, raw: tracks.Raw) -> float:
    minutes, volumes = np.diff(raw.minutes), np.diff(raw.bv)
    stood = (minutes > 1.0) & (volumes < 0.1 * minutes / 60.0 * rinse.flow_bv_per_h)
    return float(minutes[stood].sum()) if len(minutes) else 0.0


def _of_meter(rinse: RinseSoFar, raw: tracks.Raw) -> list[Seen]:
    np = array_library()
    found: list[Seen] = []
    same = 1
    for earlier, later in zip(raw.logarithms[::-1][1:], raw.logarithms[::-1], strict=False):
        if abs(earlier - later) > 1e-9:
            break
        same += 1
    if same >= _FROZEN_READINGS and not raw.clipped[-1]:
        found.append(Seen(Sign.FROZEN, 0.9, f"The last {same} readings are equal to the last digit."))
    if raw.clipped[-1]:
        found.append(
            Seen(
                Sign.CLIPPED, 0.4, "The meter is at the top of its range; the water may be anything above it."
            )
        )
    known = [each.temperature_kelvin for each in rinse.readings if each.temperature_kelvin is not None]
    if known and known[-1] < _COLD_KELVIN:
        found.append(
            Seen(
                Sign.COLD,
                0.2,  # alone it is weather; with a slow or late rinse it is a reason
                f"The water has {known[-1] - 273.15:.1f} °C; below 10 °C what is in the beads leaves slowly.",
            )
        )
    if len(known) > 2 and max(known[:3]) - float(np.median(known[-3:])) > 6.0:
        found.append(Seen(
            Sign.WARM_START, 0.3,
            f"It began {max(known[:3]) - known[-1]:.0f} K warmer; a meter that compensates wrongly shows a fall that is not there.",
        ))  # fmt: skip
    return found


def _of_water(rinse: RinseSoFar, chemistry: Chemistry) -> list[Seen]:
    found: list[Seen] = []
    limit = rinse.limit_siemens_per_m
    now = chemistry.rinse_water_siemens_per_m
    water = rinse.rinse_water_siemens_per_m if now is None else now
    if (
        now is not None
        and rinse.rinse_water_siemens_per_m > 0.0
        and now > 1.3 * rinse.rinse_water_siemens_per_m
    ):
        found.append(Seen(
            Sign.RINSE_WATER_ROSE, 0.9,
            f"The rinse water has {now * 1e4:.3g} µS/cm now; {rinse.rinse_water_siemens_per_m * 1e4:.3g} µS/cm at the start.",
        ))  # fmt: skip
    if rinse.bed is not RinsedBed.MIXED_BED and water > 0.9 * limit:
        found.append(Seen(
            Sign.RINSE_WATER_HIGH, 0.8,
            f"The rinse water itself has {water * 1e4:.3g} µS/cm; the limit is {limit * 1e4:.3g} µS/cm.",
        ))  # fmt: skip
    if chemistry.ph is not None:
        require_within(chemistry.ph, 0.0, 14.0, "pH")
        if chemistry.ph < 5.5:
            found.append(
                Seen(
                    Sign.ACID,
                    _between_0_and_1((7.0 - chemistry.ph) / 3.0),
                    f"The water leaves at pH {chemistry.ph:.1f}.",
                )
            )
        if chemistry.ph > 8.5:
            found.append(
                Seen(
                    Sign.ALKALINE,
                    _between_0_and_1((chemistry.ph - 7.0) / 3.0),
                    f"The water leaves at pH {chemistry.ph:.1f}.",
                )
            )
    if chemistry.hardness_kg_per_m3 is not None:
        require_within(chemistry.hardness_kg_per_m3, 0.0, 10.0, "hardness", "kg/m³")
        if chemistry.hardness_kg_per_m3 > 1e-3:
            found.append(Seen(
                Sign.HARDNESS, 0.8, f"Hardness leaves: {chemistry.hardness_kg_per_m3 * 1e3:.3g} mg/L as CaCO₃; below 1 mg/L is usual.",
            ))  # fmt: skip
    found += _of_silica(chemistry)
    return found


def _of_silica(chemistry: Chemistry) -> list[Seen]:
    if chemistry.silica_kg_per_m3 is None:
        return []
    require_within(chemistry.silica_kg_per_m3, 0.0, 1.0, "silica", "kg/m³")
    allowed = 1e-4 if chemistry.silica_limit_kg_per_m3 is None else chemistry.silica_limit_kg_per_m3
    if chemistry.silica_kg_per_m3 <= allowed:
        return []
    return [Seen(
        Sign.SILICA, 0.8, f"Silica leaves: {chemistry.silica_kg_per_m3 * 1e6:.3g} µg/L; allowed are {allowed * 1e6:.3g} µg/L.",
    )]  # fmt: skip


def _of_pool(rinse: RinseSoFar) -> list[Seen]:
    found: list[Seen] = []
    given_up = sum(past.endpoint_bv is None for past in rinse.history)
    if given_up >= 2:
        found.append(Seen(
            Sign.POOL_GIVES_UP, _between_0_and_1(0.3 + given_up / 10.0), f"{given_up} of the last {len(rinse.history)} rinses of this pool were given up.",
        ))  # fmt: skip
    found += _ageing(rinse)
    return found


def _ageing(rinse: RinseSoFar) -> list[Seen]:
    """The later half of the rinses took more water than the earlier one, beyond what they scatter within the halves."""
    ends = [math.log(past.endpoint_bv) for past in rinse.history if past.endpoint_bv]
    half = len(ends) // 2
    if len(ends) < 6:
        return []
    early, late = median(ends[:half]), median(ends[-half:])
    within = 1.4826 * median(
        [abs(end - early) for end in ends[:half]] + [abs(end - late) for end in ends[-half:]]
    )
    noise = 2.5 * max(within, _LEAST_SCATTER) * math.sqrt(2.0 / half)
    if late - early <= max(_AGED, noise):
        return []
    return [
        Seen(
            Sign.POOL_AGES,
            _between_0_and_1(0.3 + late - early),
            f"The later rinses of this pool took {math.exp(late - early) - 1.0:.0%} more water than the earlier ones.",
        )
    ]


def strength_of(signs: Sequence[Seen], sign: Sign) -> float:
    return max((each.strength for each in signs if each.sign is sign), default=0.0)
