"""Groups of batches against their plan: each a mark on one scale of per cent, with the band of the watch level around the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.drawing.scales import Axis, tick_text
from regenplant.drawing.scene import WHOLE, Anchor, Dot, Item, Label, Line, Rect, Scene, Shape, px, share

ROW = 46
HEAD = 8
FOOT = 30
EDGES_APART = 0.2
"""Share of the width from the plan to an edge of the band from which there is room for the numbers of both."""
MOST = 12
"""Groups drawn at most; a page says how many it leaves out."""


@dataclass(frozen=True, slots=True)
class AgainstPlan:
    """One group: its name and (used − planned) / planned."""

    name: str
    variance_frac: float


def against_plan(groups: Sequence[AgainstPlan], *, title: str, band_frac: float) -> Scene:
    """The groups in the order given, from the top. Only the first ``MOST`` are drawn; the sentence counts all."""
    shown = groups[:MOST]
    height = HEAD + ROW * max(len(shown), 1) + FOOT
    if not shown:
        return Scene(f"{title}: nothing to compare.", 24, ())
    # a scale that shows the band well and every mark: from the plan the same way to both sides
    reach = 100 * max(2 * band_frac, *(abs(one.variance_frac) * 1.15 for one in shown))
    axis = Axis(-reach, reach)
    items: list[Item] = []
    top, bottom = px(HEAD), px(height - FOOT)
    left, right = axis.share(-100 * band_frac), axis.share(100 * band_frac)
    items.append(Rect("band", share(left), top, share(right - left), px(height - FOOT - HEAD)))
    for value in _ticks(axis, 100 * band_frac):
        x = share(axis.share(value)) if axis.share(value) else px(0)
        items.append(Line("hl", x, top, x, bottom))
        anchor: Anchor = (
            "start" if axis.share(value) < 0.06 else "end" if axis.share(value) > 0.94 else "middle"
        )
        items.append(Label("t2", x, bottom, f"{_signed(value, tick_text(abs(value)))} %", anchor, dy=20))
    items.append(Line("lim", share(0.5), top, share(0.5), bottom))
    for number, one in enumerate(shown):
        y = HEAD + ROW * number
        if number:
            items.append(Line("hl", px(0), px(y), WHOLE, px(y)))
        items.append(Label("tb halo", px(0), px(y), one.name, "start", dy=21))
        text = _signed(one.variance_frac, f"{abs(100 * one.variance_frac):.1f}") + f"{units.NO_BREAK_SPACE}%"
        items.append(Label("t2 halo", WHOLE, px(y), text, "end", dy=21))
        items.append(_mark(one, axis, y + ROW - 12, band_frac))
    items.append(Line("ax", px(0), bottom, WHOLE, bottom))
    return Scene(_sentence(groups, title, band_frac), height, tuple(items))


def _ticks(axis: Axis, band: float) -> tuple[float, ...]:
    """The plan and the edges of the band where those stand apart; else the steps of the scale."""
    return (-band, 0.0, band) if axis.share(band) - 0.5 >= EDGES_APART else axis.ticks(3)


def _mark(one: AgainstPlan, axis: Axis, y: float, band_frac: float) -> Item:
    x = share(axis.share(100 * one.variance_frac))
    if abs(one.variance_frac) <= band_frac:
        return Dot("pt printed", x, px(y), 5.5)
    return Shape("pt off", x, px(y), ((0, -8), (8, 0), (0, 8), (-8, 0)))


def _signed(value: float, text: str) -> str:
    if text in ("0", "0.0"):
        return text
    return f"{'+' if value > 0 else units.MINUS}{text}"


def _sentence(groups: Sequence[AgainstPlan], title: str, band_frac: float) -> str:
    out = [one for one in groups if abs(one.variance_frac) > band_frac]
    noun = "group" if len(groups) == 1 else "groups"
    band = f"within ±{100 * band_frac:g} % of plan"
    if not out:
        return f"{title}: {len(groups)} {noun}, all {band}."
    named = ", ".join(
        f"{one.name} {_signed(one.variance_frac, f'{abs(100 * one.variance_frac):.1f}')} %"
        for one in out[:MOST]
    )
    return f"{title}: {len(groups)} {noun}, {len(groups) - len(out)} {band}. Outside: {named}."
