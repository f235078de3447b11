"""The ancestry of a resin lot: where it came from, this lot, where it went. Band width is the share of resin.

Left of the lot its parents with their share of it, right of it the lots that hold its resin with its share of them.
Only the nearest generation on each side is drawn, at most six a side; the table beside it lists everything.
"""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.drawing.scene import Item, Label, Line, Rect, Scene, px, share
from regenplant.resins.selectors import Ancestry, Relative
from regenplant.web.templatetags.quantities import percent

MOST = 6
ROW, TOP, BAR = 58, 30, 22


def ancestry_scene(ancestry: Ancestry) -> Scene:
    """The drawing; its height follows the longer side."""
    came, went = _nearest(ancestry.came_from), _nearest(ancestry.went_to)
    rows = max(len(came), len(went), 1)
    height = TOP + rows * ROW
    middle = TOP + (rows * ROW - ROW) / 2
    items: list[Item] = [
        Label("t2 ti", share(0.0), px(14), "came from"),
        Label("t2 ti", share(0.5), px(14), "this lot", anchor="middle"),
        Label("t2 ti", share(1.0), px(14), "went to", anchor="end"),
    ]
    items += [
        item for index, relative in enumerate(came) for item in _side(relative, index, middle, is_left=True)
    ]
    items += [
        item for index, relative in enumerate(went) for item in _side(relative, index, middle, is_left=False)
    ]
    items += [
        Rect("inkf", share(0.4), px(middle), share(0.2), px(BAR + 12)),
        Label("tb inv", share(0.5), px(middle + 23), ancestry.lot.code, anchor="middle"),
    ]
    return Scene(_sentence(ancestry, came, went), height, tuple(items))


def _nearest(relatives: Sequence[Relative]) -> list[Relative]:
    nearest = [relative for relative in relatives if relative.generation == 1]
    return sorted(nearest, key=lambda relative: (-relative.direct_frac, relative.lot.code))[:MOST]


def _side(relative: Relative, index: int, middle: float, *, is_left: bool) -> list[Item]:
    y = TOP + index * ROW
    width = 0.24 * relative.direct_frac
    x = 0.0 if is_left else 1.0 - width
    anchor, at = ("start", 0.0) if is_left else ("end", 1.0)
    text = f"{relative.lot.code}, {percent(relative.share_frac, 0)}"
    start, end = (x + width, 0.4) if is_left else (0.6, x)
    from_y, to_y = (y + BAR / 2, middle + BAR / 2 + 6) if is_left else (middle + BAR / 2 + 6, y + BAR / 2)
    return [
        Line("ax", share(start), px(from_y), share(end), px(to_y)),
        Rect("flow", share(x), px(y), share(width), px(BAR)),
        Label("", share(at), px(y + BAR + 20), text, anchor=anchor),  # type: ignore[arg-type]
    ]


def _sentence(ancestry: Ancestry, came: Sequence[Relative], went: Sequence[Relative]) -> str:
    parents = (
        ", ".join(f"{percent(relative.share_frac, 0)} {relative.lot.code}" for relative in came)
        or "no recorded lot"
    )
    children = ", ".join(relative.lot.code for relative in went) or "nowhere yet"
    return f"Lot {ancestry.lot.code} came from {parents}; it went to {children}."
