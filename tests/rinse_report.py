"""How well rinses are forecast: ``python -m tests.rinse_report``, on made-up rinses or on files of curves and truth.

    python -m tests.rinse_report                              the third made-up set: neither trained nor tuned on
    python -m tests.rinse_report --curves C.json --truth T.json
    python -m tests.rinse_report --kept                       the small set kept beside the tests

Prints the score with coverage, error, width and Brier score: overall, by cut, by resin, by source and by fault, the worst faults last;
and the time of one forecast. The curves of the third set are made by ``tests/rinse`` from a seed of their own.
"""

from __future__ import annotations

import argparse
import gzip
import json
import time
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from regenplant.core.process.forecasting.curve_files import as_entry, curve_of
from regenplant.core.process.forecasting.forecast import forecast
from tests.rinse.columns import FORMS
from tests.rinse.generator import rinse_set
from tests.rinse.scoring import Judged, Summary, judged, summary

THIRD_SEED = 9_190
"""Of the set for the last look; training takes other seeds (``tests/rinse/train.py``)."""
KEPT = Path(__file__).parent / "reference" / "rinses.json.gz"

Pair = tuple[dict[str, Any], dict[str, Any]]


def third_set(pools: int) -> list[Pair]:
    return [
        pair
        for number, form in enumerate(FORMS)
        for pair in rinse_set(THIRD_SEED + number, pools, form, "quarters")
    ]


def kept_set() -> list[Pair]:
    with gzip.open(KEPT, "rt", encoding="utf-8") as lines:
        return [(row["curve"], row["truth"]) for row in map(json.loads, lines)]


def from_files(curves: Path, truth: Path) -> list[Pair]:
    by_id = {row["id"]: row for row in json.loads(truth.read_text("utf-8"))["truth"]}
    return [(entry, by_id[entry["id"]]) for entry in json.loads(curves.read_text("utf-8"))["curves"]]


def judge(pairs: Iterable[Pair]) -> tuple[list[tuple[dict[str, Any], Judged]], list[float]]:
    """Truth with judgement for each pair, and the seconds of each forecast."""
    rows, seconds = [], []
    for curve, truth in pairs:
        name, rinse = curve_of(curve, 1)
        began = time.perf_counter()
        said = forecast(rinse)
        seconds.append(time.perf_counter() - began)
        rows.append((truth, judged(truth["endpoint_bv"], as_entry(name, said))))
    return rows, seconds


def grouped(rows: list[tuple[dict[str, Any], Judged]], key: str) -> dict[str, Summary]:
    groups: dict[str, list[Judged]] = defaultdict(list)
    for truth, row in rows:
        for value in str(truth[key]).split("+"):
            groups[value].append(row)
    return {name: summary(group) for name, group in groups.items()}


def table(title: str, found: dict[str, Summary]) -> str:
    lines = [f"| {title} | {' | '.join(Summary.HEADINGS)} |", "|---" * (len(Summary.HEADINGS) + 1) + "|"]
    lines += [f"| {name} | {' | '.join(each.as_cells())} |" for name, each in found.items()]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--curves", type=Path)
    parser.add_argument("--truth", type=Path)
    parser.add_argument("--kept", action="store_true")
    parser.add_argument("--pools", type=int, default=150, help="of each form, for the third set")
    chosen = parser.parse_args()
    if bool(chosen.curves) != bool(chosen.truth):
        parser.error("--curves and --truth go together.")
    pairs = (
        kept_set()
        if chosen.kept
        else from_files(chosen.curves, chosen.truth)
        if chosen.curves
        else third_set(chosen.pools)
    )
    rows, seconds = judge(pairs)
    print(table("all", {"all": summary([row for _, row in rows])}), "\n")
    for key in ("cut", "resin", "source"):
        print(table(key, dict(sorted(grouped(rows, key).items()))), "\n")
    print(
        table("fault", dict(sorted(grouped(rows, "mechanism").items(), key=lambda each: each[1].score))), "\n"
    )
    print(
        f"One forecast takes {np.median(seconds) * 1e3:.1f} ms (median), {np.quantile(seconds, 0.99) * 1e3:.1f} ms (99 %)."
    )


if __name__ == "__main__":
    main()
