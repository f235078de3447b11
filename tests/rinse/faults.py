"""What goes wrong in a rinse: each fault changes flow, water, bed or curve of one rinse; meter faults are in ``meters.py``.

A fault is drawn by name; its strength may be too small to matter, as in plants.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.rinse.columns import GRID

BED_FAULTS = (
    "channel", "dead_leg", "fouled", "cold", "low_flow", "flow_step", "sawtooth", "pause", "leak_steady", "leak_step", "leak_pulses",
    "leak_fading", "water_drift", "water_exhausted", "water_recovers", "air_pocket", "second_front", "late_rise", "exhausted_lot",
    "recirculated", "warm_start",
)  # fmt: skip
METER_FAULTS = (
    "compensation",
    "outliers",
    "drift",
    "frozen",
    "offset",
    "late_start",
    "gaps",
    "volume_off",
    "late_lag",
)
WIDER = ("bed_shifts", "wanders", "slow_reserve")
WIDEST = (*WIDER, "uneven_pace", "passing_change")
"""Drawn for the training only: changes of no known name, so that the bands learn that anything may come."""
_NAMELESS = {"wider": (0.15, WIDER), "widest": (0.25, WIDEST)}
"""Their share of the faulty rinses, by the kinds that are asked for."""
STRANGE = ("ripple", "channel_opens", "meter_swapped")
"""Never drawn for the training: what does the forecast say of what it has not seen? Bed, bed, meter."""
_WEIGHTS = {
    "leak_steady": 5.5, "leak_step": 3.2, "water_exhausted": 4.4, "exhausted_lot": 2.0, "channel": 1.6, "pause": 1.5, "flow_step": 1.5, "water_drift": 1.5,
    "fouled": 1.3, "dead_leg": 1.3, "compensation": 1.8, "outliers": 1.2, "cold": 1.2, "sawtooth": 1.2,
}  # fmt: skip


@dataclass
class Doings:
    """What happens in one rinse, on the grid of bed volumes; the row of a rinse in the arrays of ``generator.py``."""

    names: list[str] = field(default_factory=list)
    amplitude: np.ndarray = field(default_factory=lambda: np.ones(4))
    scale: np.ndarray = field(default_factory=lambda: np.ones(4))
    flow: np.ndarray = field(default_factory=lambda: np.ones(len(GRID)))
    pauses: list[tuple[float, float]] = field(default_factory=list)
    """Bed volume and minutes of each standstill."""
    water: np.ndarray = field(default_factory=lambda: np.ones(len(GRID)))
    added: np.ndarray = field(default_factory=lambda: np.zeros(len(GRID)))
    """Added to the curve, as multiples of the limit."""
    times: np.ndarray = field(default_factory=lambda: np.ones(len(GRID)))
    leakage: float = 1.0
    bypass: tuple[float, float] = (0.0, 1.0)
    """Share of the flow through a part of the bed, and the speed of that part."""
    progress: np.ndarray | None = None
    """Bed volumes the bed itself has got to, at each grid point; None where it keeps its own pace."""
    opened: tuple[float, float, float] = (0.0, 0.0, 1.0)
    """Bed volume at which a channel opens, share of the flow through it, and the speed of what it carries."""
    colder: float = 0.0
    warm_k: float = 0.0


def draw_names(random: np.random.Generator, share: float, kinds: str = "usual") -> list[str]:
    if random.random() > share:
        return []
    nameless, names = _NAMELESS.get(kinds, (0.0, ()))
    if names and random.random() < nameless:
        return [str(random.choice(names))]
    every = BED_FAULTS + METER_FAULTS
    weights = np.array([_WEIGHTS.get(name, 1.0) for name in every])
    count = 1 if random.random() < 0.85 else 2
    return list(random.choice(every, count, replace=False, p=weights / weights.sum()))


def happen(random: np.random.Generator, names: list[str], end_bv: float) -> Doings:
    """The doings of the named faults in a rinse that would end at ``end_bv`` without them."""
    doings = Doings(names=names)
    for name in names:
        change = _CHANGES.get(name)
        if change is not None:
            change(random, doings, end_bv)
    return doings


def _between(random: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def _rise(at: float, width: float) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-np.clip((GRID - at) / width, -50.0, 50.0)))


def _from(at: float) -> np.ndarray:
    return np.maximum(GRID - at, 0.0)


def _moment(random: np.random.Generator, end_bv: float) -> float:
    return float(random.uniform(0.05, 1.05)) * end_bv


def _channel(random, doings, end):
    doings.bypass = (_between(random, 0.02, 0.35), float(random.uniform(0.25, 0.8)))


def _dead_leg(random, doings, end):
    scale = end * _between(random, 0.08, 0.6)
    doings.added += _between(random, 0.3, 60.0) * np.exp(-GRID / scale) * _rise(0.5, 0.1)


def _fouled(random, doings, end):
    doings.scale = np.array([1.0, _between(random, 1.0, 1.5), *[_between(random, 1.1, 2.4)] * 2])
    doings.amplitude = np.array([1.0, _between(random, 1.0, 1.6), *[_between(random, 1.0, 2.5)] * 2])


def _cold(random, doings, end):
    doings.colder = float(random.uniform(3.0, 14.0))


def _low_flow(random, doings, end):
    doings.flow *= random.uniform(0.35, 0.8)


def _flow_step(random, doings, end):
    at = _moment(random, end)
    factor = _between(random, 0.4, 2.5)
    doings.flow *= np.where(at < GRID, factor, 1.0)
    if factor > 1.0 or random.random() < 0.4:
        doings.times *= 1.0 + _between(random, 0.05, 3.0) * np.exp(-_from(at) / random.uniform(0.15, 0.8)) * (
            at <= GRID
        )


def _sawtooth(random, doings, end):
    period = _between(random, 0.1, 1.5)
    depth = random.uniform(0.02, 0.3)
    phase = (GRID / period + random.random()) % 1.0
    doings.flow *= 1.0 + depth * (phase - 0.5)
    doings.times *= np.exp(0.5 * depth * (phase - 0.5))


def _pause(random, doings, end):
    doings.pauses.append((_moment(random, end), _between(random, 3.0, 120.0)))


def _leak_steady(random, doings, end):
    doings.added += _between(random, 0.25, 12.0)


def _leak_step(random, doings, end):
    doings.added += _between(random, 0.3, 12.0) * _rise(_moment(random, end), _between(random, 0.02, 0.3))


def _leak_pulses(random, doings, end):
    period = end * random.uniform(0.08, 0.4)
    doings.added += _between(random, 0.2, 6.0) * (((GRID / period) % 1.0) < random.uniform(0.1, 0.5))


def _leak_fading(random, doings, end):
    doings.added += _between(random, 0.3, 10.0) * np.exp(-GRID / (end * random.uniform(0.3, 3.0)))


def _water_drift(random, doings, end):
    rate = random.normal(0.0, 0.5) / end
    doings.water *= np.exp(np.clip(rate * GRID, -1.2, 1.8))


def _water_exhausted(random, doings, end):
    doings.water *= 1.0 + _between(random, 0.15, 60.0) * _rise(
        _moment(random, end), end * _between(random, 0.01, 0.15)
    )


def _water_recovers(random, doings, end):
    at = _moment(random, end)
    length = end * random.uniform(0.05, 0.8)
    doings.water *= 1.0 + _between(random, 0.5, 40.0) * (
        _rise(at, 0.05 * end) - _rise(at + length, 0.05 * end)
    )


def _air_pocket(random, doings, end):
    at = _moment(random, end)
    width = end * random.uniform(0.02, 0.15)
    doings.times *= 1.0 + _between(random, 0.2, 4.0) * (_from(at) / width) * np.exp(1.0 - _from(at) / width)


def _second_front(random, doings, end):
    at = _moment(random, end)
    doings.added += _between(random, 0.5, 80.0) * (at <= GRID) * np.exp(-_from(at) / random.uniform(0.2, 1.2))


def _late_rise(random, doings, end):
    at = end * random.uniform(0.3, 1.4)
    doings.added += np.minimum(
        0.05 * np.exp(np.minimum(_from(at) / (end * random.uniform(0.05, 0.3)), 20.0)) - 0.05, 30.0
    )


def _exhausted_lot(random, doings, end):
    doings.leakage *= _between(random, 1.5, 12.0)
    doings.amplitude = doings.amplitude * _between(random, 0.7, 2.0)


def _recirculated(random, doings, end):
    at = _moment(random, end)
    doings.added += (
        _between(random, 0.1, 3.0) * np.exp(-_from(at) / (end * random.uniform(0.1, 0.6))) * (at <= GRID)
    )
    doings.flow *= np.where(at < GRID, random.uniform(0.8, 2.0), 1.0)


def _warm_start(random, doings, end):
    doings.warm_k = float(random.uniform(8.0, 32.0))


def _ripple(random, doings, end):
    """Recontamination that comes and goes smoothly, as with a tank that fills and empties behind a leaking valve."""
    period = end * random.uniform(0.1, 0.9)
    turn = 2.0 * np.pi * (GRID / period + random.random())
    doings.added += _between(random, 0.1, 2.0) * 0.5 * (1.0 + np.sin(turn))


def _channel_opens(random, doings, end):
    doings.opened = (_moment(random, end), _between(random, 0.03, 0.4), float(random.uniform(0.2, 0.7)))


def _bed_shifts(random, doings, end):
    at = _moment(random, end)
    doings.progress = np.where(at <= GRID, at + (GRID - at) * _between(random, 0.3, 1.6), GRID)
    doings.times *= 1.0 + (at <= GRID) * _between(random, 0.01, 3.0) * np.exp(
        -_from(at) / (end * random.uniform(0.05, 1.0))
    )


def _wanders(random, doings, end):
    knots = np.arange(0.0, GRID[-1] + 1.0, end * random.uniform(0.1, 0.5))
    walk = np.cumsum(random.normal(0.0, random.uniform(0.2, 1.0), len(knots)))
    doings.added += _between(random, 0.02, 0.8) * np.exp(np.clip(np.interp(GRID, knots, walk), -4.0, 3.0))


def _slow_reserve(random, doings, end):
    at = _moment(random, end)
    scale = end * random.uniform(0.3, 2.5)
    doings.added += _between(random, 0.3, 40.0) * _rise(at, 0.03 * end) * np.exp(-_from(at) / scale)


def _uneven_pace(random, doings, end):
    """Now faster, now slower than it should, from some moment on."""
    at = _moment(random, end)
    knots = np.arange(0.0, GRID[-1] + end, end * random.uniform(0.15, 0.6))
    walk = np.cumsum(random.normal(0.0, random.uniform(0.1, 0.5), len(knots)))
    pace = np.exp(np.clip(np.interp(_from(at), knots, walk - walk[0]), -1.6, 0.8))
    doings.progress = np.cumsum(pace * np.diff(GRID, prepend=0.0))


def _passing_change(random, doings, end):
    """The whole curve too high or too low for a stretch, or from some moment on."""
    at = _moment(random, end)
    until = at + end * random.uniform(0.05, 1.0) if random.random() < 0.7 else 2.0 * GRID[-1]
    width = end * _between(random, 0.01, 0.2)
    doings.times *= np.exp(random.normal(0.0, 0.7) * (_rise(at, width) - _rise(until, width)))


_CHANGES = {
    "bed_shifts": _bed_shifts, "wanders": _wanders, "slow_reserve": _slow_reserve, "uneven_pace": _uneven_pace, "passing_change": _passing_change,
    "ripple": _ripple, "channel_opens": _channel_opens,
    "channel": _channel, "dead_leg": _dead_leg, "fouled": _fouled, "cold": _cold, "low_flow": _low_flow, "flow_step": _flow_step,
    "sawtooth": _sawtooth, "pause": _pause, "leak_steady": _leak_steady, "leak_step": _leak_step, "leak_pulses": _leak_pulses,
    "leak_fading": _leak_fading, "water_drift": _water_drift, "water_exhausted": _water_exhausted, "water_recovers": _water_recovers,
    "air_pocket": _air_pocket, "second_front": _second_front, "late_rise": _late_rise, "exhausted_lot": _exhausted_lot,
    "recirculated": _recirculated, "warm_start": _warm_start,
}  # fmt: skip
