"""The line of a lot for the picture: the lots nearest to it both ways, with their shares, and which was made with which."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant import units
from regenplant.drawing.lot_line import LotLink, LotNode, lot_line_scene
from regenplant.drawing.scene import Scene
from regenplant.resins.models import LotParent
from regenplant.resins.selectors import Ancestry, Relative

BACK, ON, MOST = 3, 2, 6
"""Generations drawn back and on, and lots drawn of each: the largest shares."""


def line_scene(ancestry: Ancestry) -> Scene | None:
    """The picture of the line; None for a lot that came from none and went to none."""
    if not ancestry.came_from and not ancestry.went_to:
        return None
    nodes = [LotNode(ancestry.lot.code, 0, 1.0, "")]
    left_out: dict[int, int] = {}
    for relatives, sign, deepest in ((ancestry.came_from, -1, BACK), (ancestry.went_to, 1, ON)):
        for generation in range(1, deepest + 1):
            found = sorted(
                (one for one in relatives if one.generation == generation),
                key=lambda one: (-one.share_frac, one.lot.code),
            )
            nodes += [_node(one, sign) for one in found[:MOST]]
            if len(found) > MOST:
                left_out[sign * generation] = len(found) - MOST
    codes = {node.code: node.generation for node in nodes}
    return lot_line_scene(nodes, _links(codes), sentence=_sentence(ancestry), left_out=left_out)


def _node(relative: Relative, sign: int) -> LotNode:
    words = f"{units.format_number(100 * relative.share_frac, digits=3, decimals=1)} %"
    return LotNode(relative.lot.code, sign * relative.generation, relative.share_frac, words)


def _links(codes: Mapping[str, int]) -> list[LotLink]:
    """Between lots that are drawn, from left to right only: a lot that is met on a longer way too is drawn on the shortest."""
    rows = LotParent.objects.filter(child__code__in=codes, parent__code__in=codes)
    pairs = rows.order_by("pk").values_list("parent__code", "child__code")
    return [LotLink(older, younger) for older, younger in pairs if codes[older] < codes[younger]]


def _sentence(ancestry: Ancestry) -> str:
    def told(relatives: tuple[Relative, ...], none: str) -> str:
        nearest = [one for one in relatives if one.generation == 1]
        largest = sorted(nearest, key=lambda one: -one.share_frac)[:MOST]
        return ", ".join(f"{100 * one.share_frac:.0f} % {one.lot.code}" for one in largest) or none

    return (
        f"Lot {ancestry.lot.code} came from {told(ancestry.came_from, 'no recorded lot')}; it went to "
        f"{told(ancestry.went_to, 'nowhere yet')}."
    )
