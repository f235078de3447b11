"""A trace: customers, tanks, lots and batches in columns, with the ways between them; read from left to right.

Each column shows at most ``MOST`` things; the list beside the drawing names them all. Where it began stands in solid ink.
"""

from __future__ import annotations

from regenplant.drawing.scene import Item, Label, Line, Rect, Scene, px, share
from regenplant.quality.tracing import Column, Node, Trace

MOST = 12
HEAD, ROW, BAR = 34, 38, 26
SPAN = 0.125
"""Width of a box as a share of the drawing."""
HEADS = {
    Column.CAME_FROM: "came from",
    Column.TANKS: "tanks",
    Column.WENT_IN: "went in",
    Column.BATCHES: "batches",
    Column.MADE: "made",
    Column.WENT_TO: "went to",
}


def trace_scene(trace: Trace) -> Scene:
    """The drawing; as high as its longest column."""
    columns = {column: trace.of(column) for column in Column if trace.of(column)}
    shown = {column: nodes[:MOST] for column, nodes in columns.items()}
    rows = max((len(nodes) + (len(columns[column]) > MOST) for column, nodes in shown.items()), default=1)
    height = HEAD + rows * ROW
    places = _places(shown, height)
    items: list[Item] = []
    for index, column in enumerate(shown):
        x = _x(index, len(shown))
        items.append(Label("t2 ti", share(x), px(16), HEADS[column]))
    for edge in trace.edges:
        if edge.start in places and edge.end in places:
            items.append(_way(places[edge.start], places[edge.end]))
    for column, nodes in shown.items():
        for node in nodes:
            items += _box(
                node, places[node.key], is_origin=node.kind is trace.kind and node.code == trace.code
            )
        if len(columns[column]) > MOST:
            x, y = places[nodes[-1].key]
            more = f"and {len(columns[column]) - MOST} more"
            items.append(Label("t2", share(x) if x else px(0), px(y + ROW + 17), more))
    return Scene(_sentence(trace, columns), height, tuple(items))


def _x(index: int, count: int) -> float:
    """Left edge of a column as a share."""
    return (1.0 - SPAN) * index / max(1, count - 1)


def _places(shown: dict[Column, tuple[Node, ...]], height: int) -> dict[tuple[str, str], tuple[float, float]]:
    """Left edge (share) and top (pixels) of every box; short columns stand in the middle."""
    found = {}
    for index, nodes in enumerate(shown.values()):
        top = HEAD + (height - HEAD - len(nodes) * ROW) / 2
        for number, node in enumerate(nodes):
            found[node.key] = (_x(index, len(shown)), top + number * ROW)
    return found


def _way(start: tuple[float, float], end: tuple[float, float]) -> Line:
    (x1, y1), (x2, y2) = start, end
    if x1 == x2:  # a rework stands in the same column as what it reworks
        return Line("ax", share(x1 + SPAN / 2), px(y1 + BAR), share(x2 + SPAN / 2), px(y2))
    return Line("ax", share(x1 + SPAN), px(y1 + BAR / 2), share(x2) if x2 else px(0), px(y2 + BAR / 2))


def _box(node: Node, place: tuple[float, float], *, is_origin: bool) -> list[Item]:
    x, y = place
    left = share(x) if x else px(0)
    return [
        Rect("inkf" if is_origin else "wellf", left, px(y), share(SPAN), px(BAR)),
        Label("tb inv" if is_origin else "", left, px(y), node.code, dx=6, dy=18),
    ]


def _sentence(trace: Trace, columns: dict[Column, tuple[Node, ...]]) -> str:
    """The drawing in words."""
    counts = ", ".join(f"{len(nodes)} {HEADS[column]}" for column, nodes in columns.items())
    return f"Ways of {trace.kind.value.replace('_', ' ')} {trace.code}: {counts}. The list names each with where it leads."
