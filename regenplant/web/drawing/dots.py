"""Chemical per resin volume, batch by batch: each a dot on its plan line with the band around it; outliers named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.drawing.scales import Axis, tick_text
from regenplant.drawing.scene import WHOLE, Anchor, Dot, Item, Label, Line, Rect, Scene, Shape, px, share


@dataclass(frozen=True, slots=True)
class BatchDose:
    """One batch: what it was to take and what it took, both SI of the chart's kind."""

    name: str
    planned: float
    used: float

    def deviation_frac(self) -> float:
        """(used − planned) / planned."""
        return (self.used - self.planned) / self.planned


def dots_on_plan(
    doses: Sequence[BatchDose],
    *,
    title: str,
    kind: str = "dose",
    band_frac: float = 0.05,
    system: str = "metric",
    height: int = 300,
) -> Scene:
    """The doses in the order given, oldest first. Raises: ValueError for a plan of nought or less."""
    if any(dose.planned <= 0 for dose in doses):
        raise ValueError("a planned dose is above zero")
    if not doses:
        return Scene(f"{title}: no batch yet.", height, ())
    shown = [
        (d, units.shown_value(d.planned, kind, system), units.shown_value(d.used, kind, system))
        for d in doses
    ]
    axis = _axis(
        [
            v
            for _, planned, used in shown
            for v in (planned * (1 + band_frac), planned * (1 - band_frac), used)
        ]
    )
    items: list[Item] = []
    for value in axis.ticks(5):
        y = share(1 - axis.share(value))
        items.append(Line("hl", px(0), y, WHOLE, y))
        items.append(Label("t2", px(0), y, tick_text(value), "end", dx=-10, dy=6))
    width = 1 / len(shown)
    for number, (_, planned, _) in enumerate(shown):
        top, bottom = (1 - axis.share(planned * (1 + sign * band_frac)) for sign in (1, -1))
        items.append(Rect("band", share(number * width), share(top), share(width), share(bottom - top)))
        y = share(1 - axis.share(planned))
        items.append(Line("lim", share(number * width), y, share((number + 1) * width), y))
    first_plan = share(1 - axis.share(shown[0][1] * (1 + band_frac)))
    items.append(
        Label(
            "ti t2 halo", share(0.01), first_plan, f"plan ±{100 * band_frac:g}{units.NO_BREAK_SPACE}%", dy=-7
        )
    )
    for number, (dose, _, used) in enumerate(shown):
        items += _dot(dose, (number + 0.5) * width, 1 - axis.share(used), band_frac)
    items.append(Line("ax", px(0), px(0), px(0), WHOLE))
    items.append(Line("ax", px(0), WHOLE, WHOLE, WHOLE))
    items.append(Label("t2", px(0), WHOLE, doses[0].name, "start", dy=26))
    if len(doses) > 1:
        items.append(Label("t2", WHOLE, WHOLE, doses[-1].name, "end", dy=26))
    return Scene(_sentence(doses, title, band_frac), height, tuple(items))


def _axis(values: list[float]) -> Axis:
    low, high = min(values), max(values)
    room = (high - low) * 0.2 or high * 0.1
    return Axis(max(0.0, low - room), high + room)


def _dot(dose: BatchDose, x: float, y: float, band_frac: float) -> list[Item]:
    if abs(dose.deviation_frac()) <= band_frac:
        return [Dot("pt printed", share(x), share(y), 5.5)]
    anchor: Anchor = "start" if x < 0.15 else "end" if x > 0.85 else "middle"
    above = dose.deviation_frac() > 0
    return [
        Shape("pt off", share(x), share(y), ((0, -8), (8, 0), (0, 8), (-8, 0))),
        Label(
            "tb halo", share(x), share(y), f"{dose.name} {_percent(dose)}", anchor, dy=-16 if above else 28
        ),
    ]


def _percent(dose: BatchDose) -> str:
    """The deviation with its sign: "+9.2 %"."""
    sign = "+" if dose.deviation_frac() > 0 else units.MINUS
    return f"{sign}{abs(100 * dose.deviation_frac()):.1f}{units.NO_BREAK_SPACE}%"


def _sentence(doses: Sequence[BatchDose], title: str, band_frac: float) -> str:
    out = [d for d in doses if abs(d.deviation_frac()) > band_frac]
    band = f"within ±{100 * band_frac:g} % of plan"
    noun = "batch" if len(doses) == 1 else "batches"
    if not out:
        return f"{title}: {len(doses)} {noun}, all {band}."
    named = ", ".join(f"{d.name} {_percent(d)}" for d in out)
    return f"{title}: {len(doses)} {noun}, {len(doses) - len(out)} {band}. Outside: {named}."
