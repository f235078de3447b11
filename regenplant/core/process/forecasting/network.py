"""The learned part: what many made-up rinses with faults teach about how far the physics is off, and how wide to say so.

A few small networks of the same form, their answers averaged. Their weights stand in ``weights.json``, made by
``python -m tests.rinse.train`` from rinses that are not of the particles' form; nothing is learned from the plant's own data.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from regenplant.core.engineering.libraries import array_library

WEIGHTS = Path(__file__).with_name("weights.json")
_KEPT_WITHIN = 5.0
"""Standard deviations: a rinse stranger than any seen is taken as one at the edge."""
_QUARTER = math.log(4.0)
"""ln(end point / volume passed) a quarter of the way."""


@dataclass(frozen=True, slots=True)
class Learned:
    """Arrays; ``nets`` holds for each network its layers of (weights, bias). The first half gives the points (correction of the anchor, raw
    widths below and above), the second the logit of "never"."""

    names: tuple[str, ...]
    centre: Any
    scale: Any
    never_centre: Any
    """Of the second half, whose training had other rinses."""
    never_scale: Any
    nets: tuple[tuple[tuple[Any, Any], ...], ...]
    early_widening: float
    """1 leaves the distance from the middle to the 5 % point as learned; this at the end point, and on a straight line over ln(volume) to
    the next."""
    early_widening_far: float
    """The same a quarter of the way."""
    late_widening: float
    """As ``early_widening``, for the distance to the 95 % point."""
    late_widening_far: float
    """Far from the end point most of what may still go wrong has not begun: the late point moves out."""
    never_shrinking: float
    """1 leaves the chance of "never" as learned; less draws it towards ``never_usual`` on the logit scale. Lines as above."""
    never_shrinking_early: float
    """The same a quarter of the way, where what a curve shows is least of what may still come."""
    never_usual: float


@dataclass(frozen=True, slots=True)
class Answer:
    """``early``, ``middle``, ``late``: ln(end point / volume passed) at 5, 50 and 95 %, given that it is reached."""

    early: float
    middle: float
    late: float
    never_frac: float


@lru_cache(maxsize=1)
def learned() -> Learned:
    np = array_library()
    kept = json.loads(WEIGHTS.read_text("utf-8"))
    return Learned(
        tuple(kept["names"]),
        np.array(kept["centre"]),
        np.array(kept["scale"]),
        np.array(kept["never_centre"]),
        np.array(kept["never_scale"]),
        tuple(
            tuple((np.array(layer["weights"]), np.array(layer["bias"])) for layer in net)
            for net in kept["nets"]
        ),
        kept["early_widening"],
        kept["early_widening_far"],
        kept["late_widening"],
        kept["late_widening_far"],
        kept["never_shrinking"],
        kept["never_shrinking_early"],
        kept["never_usual"],
    )


@lru_cache(maxsize=1)
def version() -> str:
    """Names the weights that made a forecast, as the start of their digest."""
    return f"rinse {hashlib.sha256(WEIGHTS.read_bytes()).hexdigest()[:12]}"


def answer(described: dict[str, float], anchor: float) -> Answer:
    """What the networks make of a described rinse.

    Parameters
    ----------
    described : dict[str, float]
        As ``features.describe`` gives it
    anchor : float
        ln(end point / volume passed) that the networks correct [-]

    Returns
    -------
    answer : Answer
        Three quantiles and the chance of "never"
    """
    np = array_library()
    of = learned()
    if tuple(described) != of.names:
        raise RuntimeError("weights.json was made for other features; run python -m tests.rinse.train.")
    row = np.array(list(described.values()))
    half = len(of.nets) // 2
    points, nevers = (
        [_through(np, net, np.clip((row - centre) / scale, -_KEPT_WITHIN, _KEPT_WITHIN)) for net in nets]
        for nets, centre, scale in (
            (of.nets[:half], of.centre, of.scale),
            (of.nets[half:], of.never_centre, of.never_scale),
        )
    )
    middle = anchor + sum(float(each[0]) for each in points) / half
    below = sum(_softplus(np, each[1]) for each in points) / half
    above = sum(_softplus(np, each[2]) for each in points) / half
    chance = sum(1.0 / (1.0 + float(np.exp(-np.clip(each[0], -30.0, 30.0)))) for each in nevers) / half
    usual = _logit(np, of.never_usual)
    earliness = min(max(anchor / _QUARTER, 0.0), 1.0)
    shrinking = _along(earliness, of.never_shrinking, of.never_shrinking_early)
    never = usual + shrinking * (_logit(np, chance) - usual)
    return Answer(
        middle - _along(earliness, of.early_widening, of.early_widening_far) * below,
        middle,
        middle + _along(earliness, of.late_widening, of.late_widening_far) * above,
        float(1.0 / (1.0 + np.exp(-never))),
    )


def _through(np: Any, net: tuple[tuple[Any, Any], ...], row: Any) -> Any:
    for number, (weights, bias) in enumerate(net):
        row = row @ weights + bias
        if number < len(net) - 1:
            row = np.tanh(row)
    return row


def _along(earliness: float, near: float, far: float) -> float:
    return near + earliness * (far - near)


def _softplus(np: Any, value: Any) -> float:
    return float(np.logaddexp(0.0, value))


def _logit(np: Any, chance: float) -> float:
    kept = min(max(chance, 1e-4), 1.0 - 1e-4)
    return float(np.log(kept / (1.0 - kept)))
