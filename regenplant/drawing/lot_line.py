"""The line of a resin lot as a picture: older lots left, this lot in the middle, younger ones right, a generation a column.

The bar under a code is a share: of this lot's resin that came from an older lot, or of a younger lot that is this lot's resin. A line
leads from each lot into the one that was made with it. The same scene stands on the page and on paper.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from regenplant.drawing.scene import Item, Label, Length, Line, Rect, Scene, px, share

ROW, TOP, BAR, TEXT = 56, 44, 12, 20
FREE_FRAC = 0.12
"""Of a column's width that is left for the lines between two columns."""


@dataclass(frozen=True, slots=True)
class LotNode:
    """A lot in the picture. ``generation``: below 0 older, 0 this lot, above 0 younger; ``words`` are its share in words."""

    code: str
    generation: int
    share_frac: float
    words: str


@dataclass(frozen=True, slots=True)
class LotLink:
    """The older lot went into the younger one."""

    older: str
    younger: str


def lot_line_scene(
    nodes: Sequence[LotNode],
    links: Sequence[LotLink],
    *,
    sentence: str,
    left_out: Mapping[int, int] | None = None,
) -> Scene:
    """The drawing; ``left_out`` says by generation how many lots are not drawn."""
    columns = sorted({node.generation for node in nodes})
    more = left_out or {}
    rows = {at: [node for node in nodes if node.generation == at] for at in columns}
    longest = max(len(rows[at]) + (1 if more.get(at) else 0) for at in columns)
    places = _places(rows, columns, longest)
    items: list[Item] = [
        Label("t2 ti", share(index / len(columns)), px(16), _title(at)) for index, at in enumerate(columns)
    ]
    items += [
        Line("ax", *_end(places[link.older], 1.0), *_end(places[link.younger], 0.0))
        for link in links
        if link.older in places and link.younger in places
    ]
    for node in nodes:
        items += _drawn(node, places[node.code])
    for index, at in enumerate(columns):
        if more.get(at):
            y = TOP + len(rows[at]) * ROW + TEXT
            items.append(Label("t2", share(index / len(columns)), px(y), f"and {more[at]} more"))
    return Scene(sentence, TOP + longest * ROW, tuple(items))


@dataclass(frozen=True, slots=True)
class _Place:
    """Left edge and width as shares of the drawing, top in pixels."""

    x: float
    width: float
    y: float


def _places(rows: Mapping[int, Sequence[LotNode]], columns: Sequence[int], longest: int) -> dict[str, _Place]:
    """Where each lot stands; a column that is shorter than the longest stands in the middle of it."""
    found: dict[str, _Place] = {}
    width = (1.0 - FREE_FRAC) / len(columns)
    for index, at in enumerate(columns):
        start = TOP + (longest - len(rows[at])) * ROW / 2 if len(rows[at]) == 1 else TOP
        for row, node in enumerate(rows[at]):
            found[node.code] = _Place(index / len(columns), width, start + row * ROW)
    return found


def _title(generation: int) -> str:
    if not generation:
        return "this lot"
    steps = abs(generation)
    word = "step" if steps == 1 else "steps"
    return f"{steps} {word} {'back' if generation < 0 else 'on'}"


def _end(place: _Place, side: float) -> tuple[Length, Length]:
    """The end of a line at the bar of a lot: its left (0) or right (1) side."""
    return share(place.x + side * place.width), px(place.y + TEXT + BAR)


def _drawn(node: LotNode, place: _Place) -> list[Item]:
    is_this = node.generation == 0
    x, y = share(place.x), px(place.y + TEXT + BAR / 2)
    whole = Rect("band", x, y, share(place.width), px(BAR))
    part = Rect("inkf" if is_this else "flow", x, y, share(place.width * min(1.0, max(0.01, node.share_frac))), px(BAR))  # fmt: skip
    words = node.code if is_this or not node.words else f"{node.code}, {node.words}"
    return [whole, part, Label("tb halo" if is_this else "halo", x, px(place.y + TEXT), words)]
