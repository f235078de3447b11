"""What a plant meter shows of a true curve: when readings are taken, noise, rounding, clipping, compensation, faults."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.rinse.columns import GRID

_TOPS = (2000.0, 20000.0, 200000.0)
_TRUE_PER_K = {"SAC-H": 0.015, "SBA1": 0.018, "SAC-NA": 0.020, "MB": 0.045}
"""Change of the conductivity per kelvin, roughly, at the stage's water; common knowledge, for made-up curves only."""


@dataclass
class Shown:
    bv: np.ndarray
    minutes: np.ndarray
    conductivity: np.ndarray
    temperature: np.ndarray


def minutes_along(flow: np.ndarray, pauses: list[tuple[float, float]]) -> np.ndarray:
    """Minutes at each grid point; ``flow`` in bed volumes per hour."""
    minutes = np.cumsum(np.diff(GRID, prepend=0.0) / flow * 60.0)
    for at, length in pauses:
        minutes = minutes + np.where(at < GRID, length, 0.0)
    return minutes


def schedule(
    random: np.random.Generator, minutes: np.ndarray, end_bv: float, pauses: list[tuple[float, float]]
) -> tuple[np.ndarray, np.ndarray]:
    """Bed volumes and minutes at which somebody or something reads."""
    by_time = random.random() < 0.5
    last = min(end_bv * 1.3 + 0.3, 60.0)
    count = int(np.exp(random.uniform(np.log(3.0), np.log(110.0))))
    if by_time:
        total = float(np.interp(last, GRID, minutes))
        step = max(total / count, 0.4)
        at = np.arange(random.uniform(0.2, 1.5) * step, total, step)
        if random.random() < 0.5:
            at = at + random.normal(0.0, 0.08, len(at)) * step
        bv = np.interp(at, minutes, GRID)
    else:
        step = last / count
        bv = np.arange(random.uniform(0.5, 1.5) * step, last, step)
        if random.random() < 0.5:
            bv = bv + random.normal(0.0, 0.08, len(bv)) * step
        bv = bv[bv > 0.0]
        at = np.interp(bv, GRID, minutes)
        for where, length in pauses:
            extra = np.interp(where, GRID, minutes) + np.arange(1, 4) * length / 4.0
            bv, at = np.append(bv, np.full(3, where)), np.append(at, extra)
    if random.random() < 0.35:
        keep = bv > end_bv * random.uniform(0.0, 0.35)
        bv, at = bv[keep], at[keep]
    order = np.argsort(at, kind="stable")
    return np.maximum.accumulate(bv[order]), np.maximum(at[order], 0.0)


def read(
    random: np.random.Generator,
    names: list[str],
    resin: str,
    curve: np.ndarray,
    limit: float,
    temperatures: np.ndarray,
    minutes: np.ndarray,
    end_bv: float,
    pauses: list[tuple[float, float]],
) -> Shown:
    bv, at = schedule(random, minutes, end_bv, pauses)
    if "late_start" in names:
        keep = bv > end_bv * random.uniform(0.2, 0.6)
        bv, at = bv[keep], at[keep]
    seen_bv = bv
    if "late_lag" in names:
        seen_bv = np.maximum(bv - random.uniform(0.05, 0.4), 0.01)
    true = np.exp(np.interp(seen_bv, GRID, np.log(curve)))
    temperature = np.interp(seen_bv, GRID, temperatures)
    noise = np.exp(random.uniform(np.log(0.004), np.log(0.06)))
    white = random.normal(0.0, 1.0, len(bv)) * noise
    slow = np.cumsum(random.normal(0.0, 1.0, len(bv)) * noise * 0.25) * (random.random() < 0.3)
    shown = np.log(true) + white + slow + random.normal(0.0, 0.015)
    shown = shown + _compensation(random, names, resin, true, limit, temperature)
    if "drift" in names:
        shown = shown + random.normal(0.0, 0.35) * (at / max(float(np.interp(end_bv, GRID, minutes)), 1.0))
    if "offset" in names:
        shown = shown + random.normal(0.0, 0.15)
    value = np.exp(shown)
    if "offset" in names and random.random() < 0.4:
        value = value + limit * random.uniform(0.02, 0.4)
    if "outliers" in names or random.random() < 0.08:
        hit = random.random(len(bv)) < random.uniform(0.03, 0.2)
        value = np.where(hit, value * np.exp(random.normal(0.0, 0.8, len(bv))), value)
    if "frozen" in names and len(bv) > 3:
        since = int(random.integers(1, len(bv)))
        until = len(bv) if random.random() < 0.5 else min(len(bv), since + int(random.integers(2, 12)))
        value[since:until] = value[since]
    value = _shown_by_meter(random, resin, value, limit)
    keep = np.ones(len(bv), bool)
    if "gaps" in names or random.random() < 0.15:
        keep = random.random(len(bv)) > random.uniform(0.1, 0.6)
    if "volume_off" in names:
        bv = bv * np.exp(random.normal(0.0, 0.12))
    return Shown(
        np.round(bv, 2)[keep],
        np.round(at, 1)[keep],
        value[keep],
        np.round(temperature + random.normal(0.0, 0.1, len(bv)), 1)[keep],
    )


def _compensation(
    random: np.random.Generator,
    names: list[str],
    resin: str,
    true: np.ndarray,
    limit: float,
    temperature: np.ndarray,
) -> np.ndarray:
    off = temperature - 25.0
    per_kelvin = np.full(len(true), _TRUE_PER_K[resin])
    if resin == "MB":
        per_kelvin = np.where(true > 5.0, 0.02, 0.02 + 0.03 / (1.0 + true))
    if "compensation" in names:
        taken = 0.02 if random.random() < 0.5 else 0.0
    else:
        taken = per_kelvin if random.random() < 0.8 else per_kelvin + random.normal(0.0, 0.002)
    return np.log(np.maximum(1.0 + per_kelvin * off, 0.2)) - np.log(np.maximum(1.0 + taken * off, 0.2))


def _shown_by_meter(random: np.random.Generator, resin: str, value: np.ndarray, limit: float) -> np.ndarray:
    digits = int(random.choice((3, 4)))
    with np.errstate(divide="ignore"):
        places = digits - 1 - np.floor(np.log10(np.maximum(value, 1e-9)))
    value = np.round(value * 10.0**places) / 10.0**places
    if resin == "MB":
        value = np.maximum(np.round(value, 2 if random.random() < 0.8 else 3), 0.01)
    if random.random() < 0.4:
        tops = [top for top in _TOPS if top > limit * 20.0]
        if tops:
            value = np.minimum(value, float(random.choice(tops)))
    return value
