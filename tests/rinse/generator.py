"""Whole sets of made-up rinses in the shape of the public files: curves as shown by meters, and their truth."""

from __future__ import annotations

import argparse
import gzip
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.rinse import columns, faults, meters, pools
from tests.rinse.columns import GRID

HISTORY = 10
SHOWN = 4
"""Rinses of each pool that are forecast."""
SHOWN_FAULTS = 0.6


@dataclass
class _Rinse:
    pool: int
    names: list[str]
    curve: np.ndarray
    end_bv: float
    plain_end_bv: float
    temperatures: np.ndarray
    flow: np.ndarray
    flow_set: float
    water: float
    pauses: list[tuple[float, float]]


def rinse_set(
    seed: int, count: int, form: str, cuts: str = "any", per_rinse: int = 2, kinds: str = "usual"
) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Pairs of curve and truth from ``count`` pools of one form.

    ``cuts`` "any": seen at any share of the way; "quarters": about 25, 50 and 75 %, as in the public set. ``kinds`` of faults of
    the rinses shown: "usual"; "wider" and "widest" with those that only the training has; "strange", each with one that is never trained on.
    """
    random = np.random.default_rng(seed)
    drawn = _kept_pools(random, form, count)
    size = len(drawn.limit)
    order = np.tile(np.arange(HISTORY + SHOWN), (size, 1))
    rinses = pools.rinses_of(random, drawn, order)
    made = _made(random, drawn, rinses, order, kinds)
    for number in range(size):
        own = made[number * (HISTORY + SHOWN) : (number + 1) * (HISTORY + SHOWN)]
        past = [_history_entry(random, drawn, each) for each in own[:HISTORY]]
        length = int(
            random.choice((0, 1, 2, 3, 5, 8, 9, 10), p=(0.07, 0.04, 0.09, 0.08, 0.12, 0.2, 0.1, 0.3))
        )
        past = past[HISTORY - length :]
        for which, rinse in enumerate(own[HISTORY:]):
            yield from _entries(
                random, drawn, rinse, past, f"{form[:2]}{seed}-{number}-{which}", cuts, per_rinse
            )


def _kept_pools(random: np.random.Generator, form: str, count: int) -> pools.Pools:
    drawn = pools.draw(random, form, count * 4)
    flow = np.broadcast_to(drawn.flow[:, None], (count * 4, len(GRID)))
    paces = columns.pace(flow, drawn.flow, np.ones(count * 4), drawn.beds.time_control)
    plain = columns.outlet(form, drawn.beds, paces, np.zeros((count * 4, len(GRID))))
    plain = plain + (drawn.water * drawn.gain + drawn.leakage)[:, None]
    ends = columns.endpoints(plain, drawn.limit)
    keep = np.nonzero((ends > 1.5) & (ends < 45.0))[0]
    # long rinses are rarer in plants than in the draw
    keep = keep[random.random(len(keep)) < np.minimum(1.0, 14.0 / ends[keep])][:count]
    return _rows(drawn, keep)


def _rows(drawn: pools.Pools, keep: np.ndarray) -> pools.Pools:
    def pick(value: Any) -> Any:
        if isinstance(value, np.ndarray):
            return value[keep]
        if isinstance(value, columns.Beds):
            return columns.Beds(**{name: pick(part) for name, part in vars(value).items()})
        return value

    return pools.Pools(**{name: pick(value) for name, value in vars(drawn).items()})


def _made(
    random: np.random.Generator, drawn: pools.Pools, rinses: pools.Rinses, order: np.ndarray, kinds: str
) -> list[_Rinse]:
    found: list[_Rinse] = []
    chunk = 800
    for first in range(0, len(rinses.pool), chunk):
        rows = np.arange(first, min(first + chunk, len(rinses.pool)))
        found += _chunk(random, drawn, rinses, rows, order.ravel()[rows], kinds)
    return found


def _chunk(
    random: np.random.Generator,
    drawn: pools.Pools,
    rinses: pools.Rinses,
    rows: np.ndarray,
    order: np.ndarray,
    kinds: str,
) -> list[_Rinse]:
    pool = rinses.pool[rows]
    limit = drawn.limit[pool]
    beds = columns.Beds(**{
        name: value[rows] if isinstance(value, np.ndarray) else value for name, value in vars(rinses.beds).items()
    })  # fmt: skip
    base_flow = np.where(
        GRID[None, :] < rinses.slow_bv[rows][:, None],
        drawn.slow_flow[pool][:, None] * np.ones(len(GRID)),
        rinses.flow_set[rows][:, None],
    )
    floor = rinses.water[rows] * rinses.floor_gain[rows] + rinses.leakage[rows]
    plain_ends = _plain_ends(drawn.form, beds, floor, limit)
    doings = []
    for end, place, number in zip(plain_ends, order, pool, strict=True):
        share = drawn.fault_share[number] if place < HISTORY else SHOWN_FAULTS
        usual = end if np.isfinite(end) else 20.0
        if kinds == "strange" and place >= HISTORY:
            names = [str(random.choice(faults.STRANGE))]
        else:
            names = faults.draw_names(random, share, kinds if place >= HISTORY else "usual")
        doings.append(faults.happen(random, names, usual))
    beds.amplitudes = beds.amplitudes * np.array([each.amplitude for each in doings])
    beds.scales = beds.scales * np.array([each.scale for each in doings])
    colder = np.array([each.colder for each in doings])
    temperature = np.maximum(rinses.temperature[rows] - colder, 1.5)
    warmth = np.exp(0.022 * (temperature - drawn.temperature[pool]))
    flow = base_flow * np.array([each.flow for each in doings])
    paces = columns.pace(flow, rinses.flow_set[rows], warmth, beds.time_control)
    pauses = np.zeros((len(rows), len(GRID)))
    for row, each in enumerate(doings):
        for at, length in each.pauses:
            pauses[row, min(int(np.searchsorted(GRID, at)), len(GRID) - 1)] += (
                length / 60.0 * rinses.flow_set[rows][row]
            )
    out = columns.outlet(drawn.form, beds, paces, pauses)
    found = []
    for row, each in enumerate(doings):
        bed = out[row]
        share, speed = each.bypass
        if share:
            bed = (1.0 - share) * bed + share * np.interp(GRID * speed, GRID, bed)
        if each.progress is not None:
            bed = np.interp(each.progress, GRID, bed)
        at, share, speed = each.opened
        if share:
            late = np.interp(GRID * speed, GRID, bed)
            bed = np.where(at <= GRID, (1.0 - share) * bed + share * late, bed)
        water = rinses.water[rows][row] * rinses.floor_gain[rows][row] * each.water
        curve = (
            bed + water + rinses.leakage[rows][row] * each.leakage + each.added * limit[row]
        ) * each.times
        end = float(columns.endpoints(curve[None, :], limit[row : row + 1])[0])
        warm = temperature[row] + each.warm_k * np.exp(-GRID / 1.5) + 0.3 * random.normal()
        found.append(_Rinse(
            int(pool[row]), each.names, curve, end, float(plain_ends[row]), warm, flow[row], float(rinses.flow_set[rows][row]),
            float(rinses.water[rows][row]), each.pauses,
        ))  # fmt: skip
    return found


def _plain_ends(form: str, beds: columns.Beds, floor: np.ndarray, limit: np.ndarray) -> np.ndarray:
    """Roughly where the rinse would end without faults: the closed form is near enough to place faults by."""
    nothing = np.zeros((len(limit), len(GRID)))
    near = "stretched" if form == "column" else form
    straight = columns.Beds(**{**vars(beds), "exponent": np.ones(len(limit))}) if form == "column" else beds
    return columns.endpoints(columns.outlet(near, straight, nothing + 1.0, nothing) + floor[:, None], limit)


def _history_entry(random: np.random.Generator, drawn: pools.Pools, rinse: _Rinse) -> dict[str, Any]:
    limit = drawn.limit[rinse.pool]
    end = rinse.end_bv * np.exp(random.normal(0.0, 0.02))
    above = np.nonzero(rinse.curve > 10.0 * limit)[0]
    slope: float | None = None
    if np.isfinite(end) and len(above):
        slope = round(float(max(rinse.end_bv - GRID[above[-1]], 0.05) * np.exp(random.normal(0.0, 0.05))), 2)
    if not np.isfinite(end) and random.random() < 0.5:
        slope = round(
            float(
                random.uniform(0.5, 1.5)
                * min(rinse.plain_end_bv if np.isfinite(rinse.plain_end_bv) else 10.0, 20.0)
                * 0.6
            ),
            2,
        )
    return {
        "endpoint_bv": round(float(end), 1) if np.isfinite(end) else None,
        "slope_bv_per_decade": slope if random.random() > 0.05 else None,
    }


def _entries(
    random: np.random.Generator,
    drawn: pools.Pools,
    rinse: _Rinse,
    past: list[dict[str, Any]],
    base: str,
    cuts: str,
    per_rinse: int,
) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    reached = np.isfinite(rinse.end_bv)
    usual = rinse.plain_end_bv if np.isfinite(rinse.plain_end_bv) else float(random.uniform(4.0, 30.0))
    way = rinse.end_bv if reached else min(usual * np.exp(random.normal(0.1, 0.3)), 58.0)
    number = rinse.pool
    limit, resin = float(drawn.limit[number]), str(drawn.resin[number])
    minutes = meters.minutes_along(rinse.flow, rinse.pauses)
    shown = meters.read(
        random, rinse.names, resin, rinse.curve, limit, rinse.temperatures, minutes, way, rinse.pauses
    )
    if cuts == "quarters":
        shares = [(cut, cut / 100.0 * np.exp(random.normal(0.0, 0.06))) for cut in (25, 50, 75)]
    else:
        # a rinse that never ends is seen as often on its way as one that does, and then for longer
        shares = [(0, float(random.uniform(0.08, 0.97))) for _ in range(per_rinse)]
        shares += [] if reached else [(0, float(random.uniform(0.97, 1.8)))]
    for cut, share in shares:
        seen = shown.bv <= way * share
        if not seen.any():
            continue
        readings = [
            {
                "bv": float(b),
                "minutes": float(m),
                "conductivity_us_cm_25c": float(k),
                "temperature_c": float(t),
            }
            for b, m, k, t in zip(
                shown.bv[seen],
                shown.minutes[seen],
                shown.conductivity[seen],
                shown.temperature[seen],
                strict=True,
            )
        ]
        name = f"{base}-{cut}-{len(readings)}"
        yield (
            {"id": name, "resin": resin, "bed_volume_l": float(drawn.volume_l[number]), "flow_bv_per_h": round(rinse.flow_set, 1),
             "rinse_water_us_cm": float(f"{rinse.water:.2g}"), "limit_us_cm": limit, "readings": readings, "history": past},
            {"id": name, "base": base, "cut": cut, "endpoint_bv": round(rinse.end_bv, 3) if reached else None,
             "mechanism": "+".join(sorted(rinse.names)) or "normal", "source": drawn.form, "resin": resin},
        )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="Write a set of made-up rinses: curves and truth.")
    parser.add_argument("folder", type=Path, help="or, with --kept, the file beside the tests")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pools", type=int, default=60, help="of each form")
    parser.add_argument("--cuts", choices=("any", "quarters"), default="quarters")
    parser.add_argument("--kept", action="store_true", help="one compressed file, one pair a line")
    chosen = parser.parse_args()
    pairs = [
        pair for number, form in enumerate(columns.FORMS)
        for pair in rinse_set(chosen.seed * 10 + number, chosen.pools, form, chosen.cuts)
    ]  # fmt: skip
    if chosen.kept:
        lines = "".join(json.dumps({"curve": curve, "truth": truth}) + "\n" for curve, truth in pairs)
        chosen.folder.write_bytes(gzip.compress(lines.encode(), mtime=0))
        return
    chosen.folder.mkdir(parents=True, exist_ok=True)
    (chosen.folder / "curves.json").write_text(json.dumps({"curves": [curve for curve, _ in pairs]}), "utf-8")
    (chosen.folder / "truth.json").write_text(json.dumps({"truth": [truth for _, truth in pairs]}), "utf-8")


if __name__ == "__main__":
    main()
