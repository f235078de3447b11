"""The shape of a curve in numbers: slopes over several stretches, where they lead, rises, standstills, frozen meters."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.forecasting.history import PoolHistory
from regenplant.core.process.forecasting.rinse_so_far import RinsedBed, RinseSoFar
from regenplant.core.process.forecasting.tracks import Raw, Track

_STRETCHES = (0.12, 0.25, 0.45)
"""Shares of the volume passed, back from the last reading."""
_TELLING = 0.03
"""A slope below this per unit of ln(volume) leads nowhere."""


def of_slopes(raw: Raw, track: Track, history: PoolHistory) -> dict[str, float]:
    """How steeply it falls (per share of the volume passed) over late stretches, and the end point if it went on so."""
    np = array_library()
    found: dict[str, float] = {}
    usable = ~raw.clipped
    bv, logarithms = raw.bv[usable], raw.logarithms[usable]
    slopes = []
    for stretch in _STRETCHES:
        near = bv >= track.last_bv * (1.0 - stretch)
        least = min(3, len(bv))
        if near.sum() < least and least:
            near = np.arange(len(bv)) >= len(bv) - least
        slope, known = _slope(np, bv[near], logarithms[near], track.last_bv)
        slopes.append(slope)
        found[f"fall_{stretch:g}"] = min(max(slope, -3.0), 9.0)
        found[f"fall_{stretch:g}_known"] = known
        found[f"leads_{stretch:g}"] = _leads(track.last_logarithm, slope)
    found["bend"] = min(max(slopes[0] - slopes[2], -6.0), 6.0)
    steepness, known = _slope(np, np.log(np.maximum(bv[-6:], 0.02)), logarithms[-6:], 1.0)
    found["power"] = min(max(steepness, -3.0), 9.0)
    found["power_leads"] = min(max(track.last_logarithm / max(steepness, 0.3), 0.0), 4.0)
    found["usual_decade_leads"] = _usual_leads(track, history)
    usual_fall = math.log(10.0) * math.exp(-history.decade_ratio - history.centre)
    usual_level = usual_fall * (math.exp(history.centre) - track.last_bv)
    found["behind"] = min(max(track.last_logarithm - usual_level, -4.0), 4.0)
    found["fall_over_usual"] = min(
        max(math.log(max(slopes[1], 0.02) / (usual_fall * track.last_bv)), -3.0), 3.0
    )
    for stretch in (0.35, 0.65):
        floor, known = _floor(np, bv, logarithms, track.last_bv * (1.0 - stretch), track.last_bv)
        found[f"floor_{stretch:g}"] = floor
        found[f"floor_{stretch:g}_known"] = known
    return found


def _floor(np: Any, bv: Any, logarithms: Any, first_bv: float, last_bv: float) -> tuple[float, float]:
    """ln(floor / limit) of the exponential through three points at equal distances, and whether there is one."""
    if len(bv) < 4 or bv[0] > first_bv:
        return 0.0, 0.0
    edges = np.linspace(first_bv, last_bv, 4)
    parts = [(bv >= low) & (bv <= high) for low, high in pairwise(edges)]
    if any(part.sum() == 0 for part in parts):
        return 0.0, 0.0
    one, two, three = (float(np.exp(np.median(np.minimum(logarithms[part], 20.0)))) for part in parts)
    bend = one + three - 2.0 * two
    if one <= two or two <= three:
        return min(max(math.log(three), -3.0), 4.0), 0.5
    floor = (one * three - two * two) / bend if bend > 1e-9 * one else 0.0
    return min(max(math.log(max(floor, 0.02)), -3.0), 4.0), 1.0


def _slope(np: Any, bv: Any, logarithms: Any, scale: float) -> tuple[float, float]:
    """Median of the slopes between pairs, as a fall over ``scale``."""
    if len(bv) < 2 or float(bv[-1] - bv[0]) < 1e-3 * scale:
        return 0.0, 0.0
    if len(bv) > 24:
        parts = np.array_split(np.arange(len(bv)), 24)
        bv = np.array([bv[part].mean() for part in parts])
        logarithms = np.array([float(np.median(logarithms[part])) for part in parts])
    one, other = np.triu_indices(len(bv), 1)
    apart = bv[other] - bv[one]
    far = apart > 0.3 * float(bv[-1] - bv[0])
    values = (logarithms[one] - logarithms[other])[far] / apart[far]
    return (float(np.median(values)) * scale, 1.0) if len(values) else (0.0, 0.0)


def _leads(level: float, slope: float) -> float:
    """ln(end point / passed) if the fall goes on straight; 3 when it leads nowhere."""
    if level <= 0.0:
        return 0.0
    return min(math.log1p(level / slope), 3.0) if slope > _TELLING else 3.0


def _usual_leads(track: Track, history: PoolHistory) -> float:
    """The same with the pool's usual last decade instead of the readings' slope."""
    decade = math.exp(history.decade_ratio + history.centre)
    return min(math.log1p(max(track.last_logarithm, 0.0) / math.log(10.0) * decade / track.last_bv), 3.0)


def of_doings(rinse: RinseSoFar, raw: Raw, track: Track) -> dict[str, float]:
    """What happened on the way: rises, outliers, standstills, changes of flow and temperature, a frozen meter."""
    np = array_library()
    found = _of_rises(np, raw, track)
    found |= _of_flow(np, rinse, raw)
    found |= _over_water(np, rinse, raw, track)
    temperature = raw.temperature
    found["temperature"] = (float(np.median(temperature)) - 15.0) / 10.0
    found["temperature_last"] = (float(temperature[-1]) - float(np.median(temperature))) / 5.0
    found["temperature_first"] = (float(temperature[0]) - float(np.median(temperature))) / 5.0
    return found


def _of_rises(np: Any, raw: Raw, track: Track) -> dict[str, float]:
    logarithms = raw.logarithms
    rises = np.diff(logarithms)
    lowest = np.minimum.accumulate(logarithms)
    above = logarithms - lowest
    roughness = 0.0
    if len(logarithms) >= 4:
        bends = logarithms[2:] - 2.0 * logarithms[1:-1] + logarithms[:-2]
        roughness = float(np.median(np.abs(bends)))
    where = int(np.argmax(rises)) if len(rises) else 0
    biggest = float(rises.max()) if len(rises) else 0.0
    late = logarithms[-min(5, len(logarithms)) :]
    return {
        "above_lowest": min(max(track.last_logarithm - float(lowest[-1]), 0.0), 5.0),
        "highest_rise": min(float(above.max()), 5.0),
        "biggest_step": min(max(biggest, 0.0), 5.0),
        "biggest_step_where": float(raw.bv[where]) / track.last_bv if biggest > 0.1 else 0.0,
        "roughness": math.log(roughness + 0.005),
        "rising_share": float((rises > 0.0).mean()) if len(rises) else 0.0,
        "rising_late": float((np.diff(late) > 0.0).mean()) if len(late) > 1 else 0.0,
        "same_share": float((np.abs(rises) < 1e-9).mean()) if len(rises) else 0.0,
        "same_late": float((np.abs(np.diff(late)) < 1e-9).mean()) if len(late) > 1 else 0.0,
        "late_change": min(max(float(late[0] - late[-1]), -3.0), 7.0),
    }


def _of_flow(np: Any, rinse: RinseSoFar, raw: Raw) -> dict[str, float]:
    volumes, minutes = np.diff(raw.bv), np.diff(raw.minutes)
    nominal = rinse.flow_bv_per_h / 60.0
    stood = (minutes > 0.4) & (volumes < 0.12 * nominal * minutes)
    standstill = float(minutes[stood].sum()) if len(minutes) else 0.0
    since = float(raw.bv[-1] - raw.bv[1:][stood][-1]) if len(minutes) and stood.any() else 30.0
    moving = (minutes > 0.0) & (volumes > 0.0) & ~stood if len(minutes) else np.zeros(0, bool)
    last = first = 0.0
    if moving.any():
        rates = np.log(np.clip(volumes[moving] / minutes[moving] / nominal, 0.05, 20.0))
        last, first = float(np.median(rates[-4:])), float(np.median(rates[:4]))
    mean = math.log(min(max(raw.bv[-1] / max(float(raw.minutes[-1]), 0.05) / nominal, 0.02), 20.0))
    return {
        "stood": math.log1p(standstill) / 3.0,
        "stood_since": math.exp(-since),
        "flow_last": last,
        "flow_first": first,
        "flow_mean": mean,
        "minutes": math.log(max(float(raw.minutes[-1]), 0.1)) - 3.0,
    }


def _over_water(np: Any, rinse: RinseSoFar, raw: Raw, track: Track) -> dict[str, float]:
    """For a softener the rinse water itself comes through, as sodium salts: what counts is how far above it one is."""
    names = ("over_water", "over_water_leads", "over_water_fall")
    if rinse.bed is not RinsedBed.SOFTENER_AFTER_BRINE:
        return dict.fromkeys(names, 0.0)
    water = math.exp(track.water_logarithm)
    room = max(1.0 - water, 0.02)
    over = np.log(np.maximum(np.exp(raw.logarithms) - water, 0.03 * water) / room)
    near = raw.bv >= track.last_bv * 0.7
    if near.sum() < 3:
        near = np.arange(len(raw.bv)) >= len(raw.bv) - 3
    slope, _ = _slope(np, raw.bv[near], over[near], track.last_bv)
    level = float(np.median(over[-min(2, len(over)) :]))
    return dict(
        zip(
            names, (min(max(level, -3.0), 7.0), _leads(level, slope), min(max(slope, -3.0), 9.0)), strict=True
        )
    )
