"""What the learned part says of faults it was not shown: ``python -m tests.rinse.unseen``.

Each family of faults is left out of a small training in turn, and the forecast is judged on moments of rinses with that family; beside
it stands the same training with nothing left out. Last, the widening and shrinking that would have been best. Takes about ten minutes; ``--rows FOLDER`` keeps the described rinses between runs.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from tests.rinse.columns import FORMS
from tests.rinse.faults import METER_FAULTS
from tests.rinse.fitting import NEVER, POINTS, Rows, fitted, loss, outcomes
from tests.rinse.settling import Said, best
from tests.rinse.train import kept_rows

FAMILIES = {
    "leaks": ("leak_steady", "leak_step", "leak_pulses", "leak_fading"),
    "rinse water": ("water_drift", "water_exhausted", "water_recovers"),
    "flow and standstill": ("low_flow", "flow_step", "sawtooth", "pause"),
    "bed": ("channel", "dead_leg", "fouled", "cold", "air_pocket", "exhausted_lot"),
    "late fronts": ("second_front", "late_rise", "recirculated"),
    "meter": (*METER_FAULTS, "warm_start"),
}
TRAINING = (1, 1000, FORMS, "widest")
JUDGED = (21, 200, FORMS, "usual")
"""The first of the training sets, and a fourth set of its own: seed, pools of each form, forms, kinds of faults."""
_NETS, _EPOCHS = 2, 16


def has_any(rows: Rows, faults: tuple[str, ...]) -> np.ndarray:
    return np.array([bool(set(each.split("+")) & set(faults)) for each in rows.mechanisms])


def said_after(rows: Rows, others: Rows) -> Said:
    """What is said of ``others`` after training on ``rows``."""
    centre, scale = rows.values.mean(axis=0), rows.values.std(axis=0) + 0.05

    def standard(values: np.ndarray) -> np.ndarray:
        return np.clip((values - centre) / scale, -5.0, 5.0).astype(np.float32)

    inputs, shown = standard(rows.values), standard(others.values)
    points, nevers = (
        outcomes([fitted(inputs, rows, seed, _EPOCHS, part) for seed in range(_NETS)], shown, others.anchors)
        for part in (POINTS, NEVER)
    )
    return Said(points[0], nevers[1], others.ends, others.anchors)


def judged(said: Said) -> str:
    """Loss, coverage, Brier score and mean chance of "never"."""
    reached = ~said.is_never
    ends = said.ends[reached]
    inside = (ends >= said.quantiles[reached, 0] - 1e-9) & (ends <= said.quantiles[reached, 2])
    return (
        f"{loss(said.quantiles, said.chances, said.ends).mean():.3f} | {inside.mean():.3f} | "
        f"{np.mean((said.chances - said.is_never) ** 2):.3f} | {said.chances.mean():.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=Path, help="folder that keeps described rinses")
    chosen = parser.parse_args()
    rows = kept_rows(chosen.rows, *TRAINING, "any")
    others = kept_rows(chosen.rows, *JUDGED, "quarters")
    columns = "loss | coverage | Brier | mean chance"
    print(f"| family left out | moments, never | with it: {columns} | without it: {columns} |")
    every = said_after(rows, others)
    unseen = []
    for name, faults in FAMILIES.items():
        shown = has_any(others, faults)
        never = float(np.isnan(others.ends[shown]).mean())
        unknown = said_after(rows.where(~has_any(rows, faults)), others.where(shown))
        unseen.append(unknown)
        print(
            f"| {name} | {shown.sum()}, {never:.2f} | {judged(every.where(shown))} | {judged(unknown)} |",
            flush=True,
        )
    print(
        f"Best with nothing left out:\n{best(every)}\nbest of families left out:\n{best(Said.together(unseen))}"
    )


if __name__ == "__main__":
    main()
