"""Pools of resin and their rinses, as arrays: what a plant's lots may be like, wider than any one plant.

Ranges are common practice (start of the rinse, slopes, limits) or guesses wide enough to hold what plants show. They are for
tuning and testing only; no figure here reaches a user.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.rinse.columns import Beds

RESINS = ("SAC-H", "SBA1", "MB", "SAC-NA")
_START = {"SAC-H": (1e5, 4e5), "SBA1": (8e4, 2.2e5), "MB": (60.0, 3000.0), "SAC-NA": (8e4, 1.6e5)}
_LIMITS = {"SAC-H": (5, 10, 20, 30, 50), "SBA1": (5, 10, 20, 30, 50), "MB": (0.1, 0.2, 0.5, 1.0, 2.0)}
_GAIN = {"SAC-H": (1.2, 5.0), "SBA1": (0.8, 2.5), "MB": (0.01, 0.06), "SAC-NA": (0.93, 1.08)}
"""Conductivity of what the resin makes of the rinse water over that of the water itself."""
_SECOND = {"SAC-H": (0.3, 2.5), "SBA1": (0.25, 2.0), "MB": (0.2, 1.5), "SAC-NA": (0.2, 1.2)}
_THIRD = {"SAC-H": (1.0, 8.0), "SBA1": (1.2, 22.0), "MB": (0.6, 14.0), "SAC-NA": (0.6, 7.0)}


@dataclass
class Pools:
    """One row for each pool."""

    resin: np.ndarray
    form: str
    beds: Beds
    limit: np.ndarray
    water: np.ndarray
    gain: np.ndarray
    leakage: np.ndarray
    temperature: np.ndarray
    flow: np.ndarray
    slow_flow: np.ndarray
    slow_bv: np.ndarray
    scatter: np.ndarray
    ageing: np.ndarray
    fault_share: np.ndarray
    volume_l: np.ndarray


def log_uniform(random: np.random.Generator, low: float, high: float, size: int) -> np.ndarray:
    return np.exp(random.uniform(np.log(low), np.log(high), size))


def draw(random: np.random.Generator, form: str, count: int) -> Pools:
    """Pools of one form; the caller keeps those whose rinse ends within reason."""
    resin = random.choice(RESINS, count, p=(0.26, 0.36, 0.18, 0.20))
    ranges = {name: np.array([table[each] for each in resin]).T for name, table in
              (("start", _START), ("gain", _GAIN), ("second", _SECOND), ("third", _THIRD))}  # fmt: skip
    of = {name: np.exp(random.uniform(np.log(low), np.log(high))) for name, (low, high) in ranges.items()}
    water = np.where(
        resin == "SAC-NA", log_uniform(random, 120, 900, count), log_uniform(random, 0.4, 7.0, count)
    )
    water = np.where(resin == "MB", log_uniform(random, 0.1, 6.0, count), water)
    limit = np.array([
        float(f"{w * random.uniform(1.04, 1.9):.2g}") if r == "SAC-NA" else float(random.choice(_LIMITS[r]))
        for r, w in zip(resin, water, strict=True)
    ])  # fmt: skip
    over = np.where(resin == "SAC-NA", limit - water, limit)
    over = np.maximum(over, limit * 0.03)
    amplitudes = np.stack([
        of["start"] * log_uniform(random, 0.003, 0.3, count),
        np.minimum(over * log_uniform(random, 3.0, 600.0, count), of["start"] * 0.2),
        np.minimum(over * log_uniform(random, 0.2, 40.0, count), of["start"] * 0.1) * (random.random(count) < 0.72),
        np.zeros(count),
    ], axis=1)  # fmt: skip
    longer = 2.5 if form == "spheres" else 1.0
    scales = np.stack(
        [
            log_uniform(random, 0.08, 0.35, count),
            of["second"],
            np.maximum(of["third"], of["second"] * 1.3) * longer,
            np.ones(count),
        ],
        axis=1,
    )
    # a slower region behind the third in half of the pools: tails that bend for long
    scales[:, 3] = scales[:, 2] * random.uniform(1.6, 4.0, count)
    amplitudes[:, 3] = amplitudes[:, 2] * random.uniform(0.1, 0.6, count) * (random.random(count) < 0.5)
    beds = Beds(
        start=of["start"],
        accessible=random.uniform(0.5, 0.95, count),
        cells=int(random.integers(6, 16)) if form == "column" else int(random.integers(6, 40)),
        amplitudes=amplitudes,
        scales=scales,
        time_control=random.uniform(0.0, 1.0, count),
        exponent=np.where(
            random.random(count) < 0.5, random.uniform(0.4, 1.0, count), random.uniform(1.2, 4.0, count)
        ),
    )
    return Pools(
        resin=resin, form=form, beds=beds, limit=limit, water=water, gain=of["gain"],
        leakage=limit * log_uniform(random, 0.005, 0.9, count) * np.where(resin == "SAC-NA", 0.02, 1.0),
        temperature=random.uniform(6.0, 26.0, count),
        flow=log_uniform(random, 6.0, 24.0, count),
        slow_flow=log_uniform(random, 2.0, 5.0, count),
        slow_bv=np.where(resin == "MB", 0.0, random.uniform(0.0, 2.2, count)),
        scatter=log_uniform(random, 0.03, 0.22, count),
        ageing=np.maximum(random.normal(0.0, 0.012, count), -0.01),
        fault_share=random.uniform(0.02, 0.25, count),
        volume_l=random.choice((100.0, 180.0, 250.0, 300.0, 450.0, 600.0, 850.0, 1200.0, 1600.0), count),
    )  # fmt: skip


@dataclass
class Rinses:
    """One row for each rinse of a pool, without faults."""

    pool: np.ndarray
    beds: Beds
    water: np.ndarray
    floor_gain: np.ndarray
    leakage: np.ndarray
    temperature: np.ndarray
    flow_set: np.ndarray
    slow_bv: np.ndarray


def rinses_of(random: np.random.Generator, pools: Pools, order: np.ndarray) -> Rinses:
    """``order``: (pools, rinses), the place of each rinse in its pool's life, for ageing."""
    count, each = order.shape
    pool = np.repeat(np.arange(count), each)
    size = len(pool)
    scatter = pools.scatter[pool]
    age = (pools.ageing[pool] * order.ravel())[:, None]

    def around(values: np.ndarray, spread: float) -> np.ndarray:
        return values * np.exp(random.normal(0.0, 1.0, size) * scatter * spread)

    beds = pools.beds
    strength = np.exp(random.normal(0.0, 1.0, (size, 4)) * scatter[:, None] * 1.6 + age * 2.0)
    speed = np.exp(random.normal(0.0, 1.0, size) * scatter)[:, None] * np.exp(
        random.normal(0.0, 0.3, (size, 4)) * scatter[:, None] + age
    )
    return Rinses(
        pool=pool,
        beds=Beds(
            start=around(beds.start[pool], 0.7), accessible=around(beds.accessible[pool], 0.4), cells=beds.cells,
            amplitudes=beds.amplitudes[pool] * strength, scales=beds.scales[pool] * speed,
            time_control=beds.time_control[pool], exponent=beds.exponent[pool],
        ),
        water=pools.water[pool] * np.exp(random.normal(0.0, 0.04, size)),
        floor_gain=np.where(pools.resin[pool] == "SAC-NA", pools.gain[pool] * np.exp(random.normal(0.0, 0.01, size)), around(pools.gain[pool], 1.0)),
        leakage=around(pools.leakage[pool], 1.5),
        temperature=np.clip(pools.temperature[pool] + random.normal(0.0, 1.2, size), 2.0, 32.0),
        flow_set=pools.flow[pool] * np.exp(random.normal(0.0, 0.15, size)),
        slow_bv=pools.slow_bv[pool],
    )  # fmt: skip
