"""What the learned part says of faults it was not shown: ``python -m tests.rinse.unseen``.

Each family of faults is left out of a small training in turn, and the forecast is judged on moments of rinses with that family; beside
it stands the same training with nothing left out. Takes about ten minutes; ``--rows FOLDER`` keeps the described rinses between runs.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from tests.rinse.columns import FORMS
from tests.rinse.faults import METER_FAULTS
from tests.rinse.fitting import Rows, fitted, loss, outcomes
from tests.rinse.train import kept_rows

FAMILIES = {
    "leaks": ("leak_steady", "leak_step", "leak_pulses", "leak_fading"),
    "rinse water": ("water_drift", "water_exhausted", "water_recovers"),
    "flow and standstill": ("low_flow", "flow_step", "sawtooth", "pause"),
    "bed": ("channel", "dead_leg", "fouled", "cold", "air_pocket", "exhausted_lot"),
    "late fronts": ("second_front", "late_rise", "recirculated"),
    "meter": (*METER_FAULTS, "warm_start"),
}
TRAINING = (1, 1000, FORMS)
JUDGED = (21, 200, FORMS)
"""The first of the training sets, and a fourth set of its own: seed, pools of each form, forms."""
_NETS, _EPOCHS = 2, 16


def has_any(rows: Rows, faults: tuple[str, ...]) -> np.ndarray:
    return np.array([bool(set(each.split("+")) & set(faults)) for each in rows.mechanisms])


def judged(rows: Rows, others: Rows) -> str:
    """Loss, coverage, Brier score and mean chance of "never" on ``others`` after training on ``rows``."""
    centre, scale = rows.values.mean(axis=0), rows.values.std(axis=0) + 0.05

    def standard(values: np.ndarray) -> np.ndarray:
        return np.clip((values - centre) / scale, -5.0, 5.0).astype(np.float32)

    nets = [fitted(standard(rows.values), rows, seed, _EPOCHS) for seed in range(_NETS)]
    quantiles, chances = outcomes(nets, standard(others.values), others.anchors)
    reached = ~np.isnan(others.ends)
    ends = others.ends[reached]
    inside = (ends >= quantiles[reached, 0] - 1e-9) & (ends <= quantiles[reached, 2])
    return (
        f"{loss(quantiles, chances, others.ends).mean():.3f} | {inside.mean():.3f} | "
        f"{np.mean((chances - ~reached) ** 2):.3f} | {chances.mean():.2f}"
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
    for name, faults in FAMILIES.items():
        shown = others.where(has_any(others, faults))
        never = float(np.isnan(shown.ends).mean())
        known = judged(rows, shown)
        unknown = judged(rows.where(~has_any(rows, faults)), shown)
        print(f"| {name} | {len(shown.ends)}, {never:.2f} | {known} | {unknown} |", flush=True)


if __name__ == "__main__":
    main()
