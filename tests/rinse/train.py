"""Make the weights of the learned part anew: ``python -m tests.rinse.train``.

Draws made-up rinses (three forms, faults, meters), describes each as the forecast does, and fits a few small networks to the loss the
forecasts are scored by. Then the bands and the chance of "never" are set on a second set, so that they are honest there. Takes about
twenty minutes; ``--rows FOLDER`` keeps the described rinses between runs. Public curves are not used.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from regenplant.core.process.forecasting import features, history, network, particles, tracks
from regenplant.core.process.forecasting.curve_files import curve_of
from tests.rinse.columns import FORMS, PLAIN
from tests.rinse.fitting import Net, Rows, fitted, loss, outcomes
from tests.rinse.generator import rinse_set

TRAINING = ((1, 1000, FORMS), (2, 2000, FORMS), (3, 2500, FORMS), (4, 900, (PLAIN,)))
"""Seeds, pools of each form, forms."""
SETTING = (7, 200, FORMS)
"""The second set, at quarters of the way: for stopping, widening and shrinking."""
_BLOCK = 100
NETS = 5


def described(seed: int, pools: int, forms: tuple[str, ...], cuts: str) -> Rows:
    """Rinses of one seed as rows of features, with ln(end point / passed), NaN for never."""
    values, ends, anchors, names, sources, shown = [], [], [], (), [], []
    for form in forms:
        number = (*FORMS, PLAIN).index(form)
        for block in range(max(1, pools // _BLOCK)):
            for curve, truth in rinse_set(seed * 1000 + number * 300 + block, min(pools, _BLOCK), form, cuts):
                row, passed = _row(curve)
                names = tuple(row)
                values.append(list(row.values()))
                anchors.append(features.anchor(row))
                end = truth["endpoint_bv"]
                ends.append(np.log(end / passed) if end else np.nan)
                sources.append(form)
                shown.append(truth["cut"])
    return Rows(
        np.array(values, np.float32),
        np.array(ends),
        np.array(anchors),
        names,
        np.array(sources),
        np.array(shown),
    )


def _row(curve: dict[str, Any]) -> tuple[dict[str, float], float]:
    _, rinse = curve_of(curve, 1)
    raw = tracks.raw(rinse)
    track = tracks.track(rinse, raw)
    pool = history.of_pool(rinse.bed, rinse.history)
    said = particles.posterior(rinse.bed, track, pool, rinse.limit_siemens_per_m)
    return features.describe(rinse, raw, track, pool, said), track.last_bv


def _kept(folder: Path | None, seed: int, pools: int, forms: tuple[str, ...], cuts: str) -> Rows:
    if folder is None:
        return described(seed, pools, forms, cuts)
    path = folder / f"{seed}-{pools}-{cuts}.npz"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        np.savez(path, **vars(described(seed, pools, forms, cuts)))
    with np.load(path) as kept:
        return Rows(
            kept["values"], kept["ends"], kept["anchors"], tuple(kept["names"]), kept["sources"], kept["cuts"]
        )


def weights_of(
    nets: list[Net], centre: np.ndarray, scale: np.ndarray, names: tuple[str, ...], bands: dict[str, float]
) -> str:
    """The text of ``weights.json``: short numbers, one row of weights on a line."""
    head = {"names": [str(name) for name in names], "centre": _short(centre), "scale": _short(scale), **bands}
    lines = [json.dumps(head)[:-1] + ', "nets": [']
    for number, net in enumerate(nets):
        lines.append("[")
        for layer, (weights, bias) in enumerate(zip(net.weights, net.biases, strict=True)):
            rows = ",\n".join(json.dumps(_short(row)) for row in weights)
            last = layer == len(net.weights) - 1
            lines.append(
                f'{{"weights": [{rows}], "bias": {json.dumps(_short(bias))}}}' + ("" if last else ",")
            )
        lines.append("]" if number == len(nets) - 1 else "],")
    return "\n".join([*lines, "]}"]) + "\n"


def _short(values: np.ndarray) -> list[float]:
    return [float(f"{value:.4g}") for value in values]


def settled(nets: list[Net], rows: Rows, values: np.ndarray) -> dict[str, float]:
    """Widening of the band so that 5 % lie on either side of it, and shrinking of "never", on rows not trained on."""
    quantiles, chances = outcomes(nets, values, rows.anchors)
    reached = ~np.isnan(rows.ends)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = (quantiles[reached, 1] - rows.ends[reached]) / (quantiles[reached, 1] - quantiles[reached, 0])
    above = (rows.ends[reached] - quantiles[reached, 1]) / (quantiles[reached, 2] - quantiles[reached, 1])
    usual = float((~reached).mean())
    logits, base = np.log(chances / (1.0 - chances)), np.log(usual / (1.0 - usual))
    tried = np.linspace(0.5, 1.2, 15)
    briers = [
        float(((1.0 / (1.0 + np.exp(-(base + shrink * (logits - base)))) - ~reached) ** 2).mean())
        for shrink in tried
    ]
    return {
        "early_at_5": float(np.quantile(below, 0.95)), "late_at_5": float(np.quantile(above, 0.95)),
        "never_shrinking": float(tried[int(np.argmin(briers))]), "never_usual": usual,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=Path, help="folder that keeps described rinses")
    parser.add_argument("--out", type=Path, default=network.WEIGHTS)
    parser.add_argument("--epochs", type=int, default=EPOCHS)
    parser.add_argument(
        "--without", choices=FORMS, help="leave a form out of the training: what does it say of a form unseen"
    )
    chosen = parser.parse_args()
    rows = Rows.together([_kept(chosen.rows, *each, "any") for each in TRAINING])
    if chosen.without:
        rows = rows.where(rows.sources != chosen.without)
    second = _kept(chosen.rows, *SETTING, "quarters")
    if chosen.without:
        second = second.where(second.sources == chosen.without)
    centre, scale = rows.values.mean(axis=0), rows.values.std(axis=0) + 0.05
    inputs = np.clip((rows.values - centre) / scale, -5.0, 5.0).astype(np.float32)
    checks = np.clip((second.values - centre) / scale, -5.0, 5.0).astype(np.float32)
    nets = [fitted(inputs, rows, seed, chosen.epochs) for seed in range(NETS)]
    quantiles, chances = outcomes(nets, checks, second.anchors)
    found = settled(nets, second, checks)
    print(
        f"{len(inputs)} rows; loss on the second set {loss(quantiles, chances, second.ends).mean():.4f}; {found}"
    )
    bands = {
        "early_widening": EARLY_WIDENING,
        "late_widening": LATE_WIDENING,
        "never_shrinking": NEVER_SHRINKING,
        "never_usual": 0.17,
    }
    if not chosen.without:
        chosen.out.write_text(weights_of(nets, centre, scale, rows.names, bands), "utf-8")


EPOCHS = 16
EARLY_WIDENING = 1.0
LATE_WIDENING = 1.06
NEVER_SHRINKING = 0.80
"""Set by hand from what ``settled`` finds with each form left out in turn: plants are no fourth draw from the same urn."""

if __name__ == "__main__":
    main()
