"""Fitting of the small networks: two layers of tanh, four outputs, Adam, on the very loss that forecasts are scored by."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

_SHARES = np.array([0.05, 0.50, 0.95])
_HIDDEN = (64, 32)
_BATCH = 256
_RATE = 2e-3
_DECAY = 0.05
_JITTER = 0.05
_LOG_LOSS = 0.15
"""Weight of the logarithmic loss of "never" beside its square: steeper where the square is flat."""
_SMOOTH = 0.01
POINTS, NEVER, BOTH = slice(0, 3), slice(3, 4), slice(0, 4)
"""Which of the outputs a network is trained for; the others then mean nothing."""


@dataclass
class Rows:
    """Described rinses: features, ln(end point / passed) or NaN, anchors, names of the features; form, cut and faults of each."""

    values: np.ndarray
    ends: np.ndarray
    anchors: np.ndarray
    names: tuple[str, ...]
    sources: np.ndarray
    cuts: np.ndarray
    mechanisms: np.ndarray

    @staticmethod
    def together(parts: list[Rows]) -> Rows:
        def join(name: str) -> np.ndarray:
            return np.concatenate([getattr(part, name) for part in parts])

        return Rows(
            join("values"),
            join("ends"),
            join("anchors"),
            parts[0].names,
            join("sources"),
            join("cuts"),
            join("mechanisms"),
        )

    def where(self, keep: np.ndarray) -> Rows:
        return Rows(
            self.values[keep],
            self.ends[keep],
            self.anchors[keep],
            self.names,
            self.sources[keep],
            self.cuts[keep],
            self.mechanisms[keep],
        )


class Net:
    """Outputs: correction of the anchor, raw widths below and above (through softplus), logit of "never"."""

    def __init__(self, inputs: int, random: np.random.Generator) -> None:
        sizes = (inputs, *_HIDDEN, 4)
        self.weights = [
            random.normal(0.0, 1.0 / np.sqrt(before), (before, after)).astype(np.float32)
            for before, after in pairwise(sizes)
        ]
        self.biases = [np.zeros(after, np.float32) for after in sizes[1:]]
        self.weights[-1] *= 0.1
        self.biases[-1][:] = (0.0, -1.0, -1.0, -1.7)

    def forward(self, values: np.ndarray) -> list[np.ndarray]:
        layers = [values]
        for number, (weights, bias) in enumerate(zip(self.weights, self.biases, strict=True)):
            out = layers[-1] @ weights + bias
            layers.append(np.tanh(out) if number < len(self.weights) - 1 else out)
        return layers

    def backward(self, layers: list[np.ndarray], slope: np.ndarray) -> list[np.ndarray]:
        """Slopes of the weights, then of the biases, first layer first."""
        of_weights, of_biases = [], []
        for number in range(len(self.weights) - 1, -1, -1):
            of_weights.insert(0, layers[number].T @ slope)
            of_biases.insert(0, slope.sum(axis=0))
            if number:
                slope = (slope @ self.weights[number].T) * (1.0 - layers[number] ** 2)
        return of_weights + of_biases


def _sigmoid(values: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-np.clip(values, -30.0, 30.0)))


def _read(outputs: np.ndarray, anchors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    middle = anchors + outputs[:, 0]
    below, above = np.logaddexp(0.0, outputs[:, 1]), np.logaddexp(0.0, outputs[:, 2])
    return np.stack([middle - below, middle, middle + above], axis=1), _sigmoid(outputs[:, 3])


def outcomes(nets: list[Net], values: np.ndarray, anchors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Quantiles and chances of all networks, averaged; no end point before what has passed."""
    read = [_read(net.forward(values)[-1].astype(float), anchors) for net in nets]
    quantiles = np.mean([each[0] for each in read], axis=0)
    return np.maximum(quantiles, 0.0), np.mean([each[1] for each in read], axis=0)


def loss(quantiles: np.ndarray, chances: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """What each forecast is scored with."""
    reached = ~np.isnan(ends)
    away = np.where(reached, ends, 0.0)[:, None] - quantiles
    pinball = np.maximum(_SHARES * away, (_SHARES - 1.0) * away).mean(axis=1)
    return 4.0 * pinball * reached + (chances - ~reached) ** 2


def _slopes(outputs: np.ndarray, anchors: np.ndarray, ends: np.ndarray) -> np.ndarray:
    quantiles, chances = _read(outputs, anchors)
    reached = ~np.isnan(ends)
    away = np.where(reached, ends, 0.0)[:, None] - quantiles
    steep = np.where(
        away > _SMOOTH,
        -_SHARES,
        np.where(away < -_SMOOTH, 1.0 - _SHARES, (1.0 - 2.0 * _SHARES - away / _SMOOTH) / 2.0),
    )
    steep = steep * reached[:, None] * 4.0 / 3.0
    wrong = chances - ~reached
    slopes = np.empty_like(outputs)
    slopes[:, 0] = steep.sum(axis=1)
    slopes[:, 1] = -steep[:, 0] * _sigmoid(outputs[:, 1])
    slopes[:, 2] = steep[:, 2] * _sigmoid(outputs[:, 2])
    slopes[:, 3] = 2.0 * wrong * chances * (1.0 - chances) + _LOG_LOSS * wrong
    return slopes / len(outputs)


def fitted(values: np.ndarray, rows: Rows, seed: int, epochs: int, outputs: slice = BOTH) -> Net:
    """One network for some of the outputs; ``values`` are the rows' features, standardised."""
    asked = np.zeros(4)
    asked[outputs] = 1.0
    random = np.random.default_rng(seed)
    net = Net(values.shape[1], random)
    parts = net.weights + net.biases
    first, second = [np.zeros_like(part) for part in parts], [np.zeros_like(part) for part in parts]
    batches = len(values) // _BATCH
    step = 0
    for _ in range(epochs):
        order = random.permutation(len(values))
        for batch in range(batches):
            chosen = order[batch * _BATCH : (batch + 1) * _BATCH]
            step += 1
            shaken = values[chosen] + random.normal(0.0, _JITTER, (len(chosen), values.shape[1])).astype(
                np.float32
            )
            layers = net.forward(shaken)
            slope = _slopes(layers[-1].astype(float), rows.anchors[chosen], rows.ends[chosen]) * asked
            slope = slope.astype(np.float32)
            rate = _RATE * 0.5 * (1.0 + np.cos(np.pi * step / (epochs * batches)))
            for number, (part, steep) in enumerate(zip(parts, net.backward(layers, slope), strict=True)):
                first[number] += 0.1 * (steep - first[number])
                second[number] += 0.001 * (steep * steep - second[number])
                if number < len(net.weights):
                    part -= rate * _DECAY * part
                part -= (
                    rate
                    * (first[number] / (1.0 - 0.9**step))
                    / (np.sqrt(second[number] / (1.0 - 0.999**step)) + 1e-8)
                )
    return net
