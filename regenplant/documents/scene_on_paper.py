"""A scene of ``regenplant.drawing`` on paper: the same items as on the page, with the papers' pen, in shades of grey.

A pixel of the page is ``PX`` points, so that the 18 pixel text of the page is 8 point here. A role that is drawn on paper has a
style below; a drawing with another role is refused when it is built, not printed without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.documents.faces import HAIR, INK, INK_2, PAPER, TICK, Face, Style, width_of
from regenplant.documents.flow import Block
from regenplant.documents.pen import Pen
from regenplant.drawing.scene import (
    NOTHING,
    WHOLE,
    Curve,
    Dot,
    Frame,
    Item,
    Label,
    Length,
    Line,
    Rect,
    Scene,
    Shape,
)

PX = 0.44
"""Points for one pixel of the page [pt/px]."""


@dataclass(frozen=True, slots=True)
class Margins:
    """Room around the drawing for what stands outside its axes [pt]."""

    left: float = 44.0
    right: float = 8.0
    top: float = 14.0
    bottom: float = 16.0


MARGINS = Margins()


@dataclass(frozen=True, slots=True)
class _Stroke:
    """How lines of one role are drawn; ``fill`` for areas."""

    weight: float = 0.5
    ink: float = INK
    dash: tuple[float, ...] = ()
    fill: float | None = None
    has_edge: bool = True


_STROKES = {
    "hl": _Stroke(0.35, HAIR),
    "ax": _Stroke(0.6, TICK),
    "ln": _Stroke(0.9),
    "lim": _Stroke(1.1),
    "ghost": _Stroke(0.45, TICK),
    "band": _Stroke(fill=0.9, has_edge=False),
    "fc": _Stroke(0.8, dash=(3.0, 2.4)),
    "fband": _Stroke(0.7, dash=(2.4, 2.0), fill=PAPER),
    "flow": _Stroke(fill=0.62, has_edge=False),
    "inkf": _Stroke(fill=INK, has_edge=False),
    "held-w": _Stroke(fill=0.92, has_edge=False),
    "now": _Stroke(0.8),
    "pt": _Stroke(0.8, fill=PAPER),
    "pt printed": _Stroke(0.8, fill=PAPER),
    "pt last": _Stroke(0.8, fill=INK),
    "pt printed last": _Stroke(0.8, fill=INK),
    "pt off": _Stroke(0.9, fill=PAPER),
    "hollow": _Stroke(0.9, fill=PAPER),
    "bar-plan": _Stroke(0.7, INK_2, fill=PAPER),
    "bar-run": _Stroke(1.5, fill=PAPER),
    "bar-wait": _Stroke(fill=0.8, has_edge=False),
    "bar-clean": _Stroke(0.7, TICK, dash=(1.6, 1.6)),
}
_HATCHED = {
    "forbid": _Stroke(0.35, TICK, has_edge=False),
    "bar-lock": _Stroke(0.35, TICK),
    "bar-done": _Stroke(0.5, INK_2, fill=PAPER),
}
"""Areas with strokes, and an edge around them unless they have none."""
_HATCH_GAP = {"forbid": 3.2, "bar-lock": 3.2, "bar-done": 1.8}
_SIZE = 8.0


@dataclass(frozen=True, slots=True)
class _Words:
    style: Style
    has_halo: bool


def _words(role: str) -> _Words:
    """The face of a label by its classes. Raises: ValueError for one that paper does not know."""
    classes = set(role.split())
    unknown = classes - {"t2", "tb", "ti", "tp", "halo", "thin", "lane-n", "cap"}
    if unknown:
        raise ValueError(f"paper has no style for text of the role {role!r}")
    if "lane-n" in classes:
        return _Words(Style(Face.BOOK, 13.0, 15.0), has_halo=False)
    face = Face.BOLD if "tb" in classes else Face.BOOK_ITALIC if "ti" in classes else Face.TEXT
    size = _SIZE + (0.6 if "ti" in classes else 0.0)
    return _Words(Style(face, size, size + 2.0, INK_2 if "t2" in classes else INK), "halo" in classes)


def scene_block(scene: Scene, width: float, margins: Margins = MARGINS, px: float = PX) -> Block:
    """The drawing, ``width`` points wide with its margins. ``px`` [pt/px] makes its heights smaller, never its text.

    Raises: ValueError for what paper has no style for.
    """
    _check(scene.items)
    height = scene.height * px
    inner = width - margins.left - margins.right

    def draw(pen: Pen, x: float, y: float) -> None:
        _Area(pen, x + margins.left, y + margins.top, inner, height, px).draw(scene.items)

    return Block(height + margins.top + margins.bottom, draw)


def area_block(role: str, width: float, height: float) -> Block:
    """An area of this role alone, for the key of a drawing. Raises: ValueError for a role that paper has no style for."""
    area = Rect(role, NOTHING, NOTHING, WHOLE, WHOLE)
    _check((area,))
    return Block(height, lambda pen, x, y: _Area(pen, x, y, width, height).draw((area,)))


def _check(items: Sequence[Item]) -> None:
    for item in items:
        if isinstance(item, Frame):
            _check(item.items)
        elif isinstance(item, Label):
            _words(item.role)
        elif not isinstance(item, (Rect, Line, Dot, Shape, Curve)):
            raise ValueError(f"paper does not draw a {type(item).__name__}")
        elif item.role not in _STROKES and not (isinstance(item, Rect) and item.role in _HATCHED):
            raise ValueError(f"paper has no style for the role {item.role!r}")


@dataclass(frozen=True, slots=True)
class _Area:
    """A place of the page with its extent, in which shares are taken."""

    pen: Pen
    x: float
    y: float
    width: float
    height: float
    px: float = PX

    def _at_x(self, length: Length) -> float:
        return self.x + self._size(length, self.width)

    def _at_y(self, length: Length) -> float:
        return self.y + self._size(length, self.height)

    def _size(self, length: Length, extent: float) -> float:
        """A length of the scene in points: a share of the extent, or pixels."""
        return length.of * extent + length.px * self.px

    def draw(self, items: Sequence[Item]) -> None:
        for item in items:
            if isinstance(item, Rect):
                self._rect(item)
            elif isinstance(item, Line):
                stroke = _STROKES[item.role]
                self.pen.rule(
                    self._at_x(item.x1), self._at_y(item.y1), self._at_x(item.x2), self._at_y(item.y2),
                    weight=stroke.weight, ink=stroke.ink, dash=stroke.dash,
                )  # fmt: skip
            elif isinstance(item, Label):
                self._label(item)
            elif isinstance(item, Dot):
                stroke = _STROKES[item.role]
                self.pen.circle(
                    self._at_x(item.x), self._at_y(item.y), item.radius * self.px,
                    fill=stroke.fill, stroke=stroke.ink, weight=stroke.weight,
                )  # fmt: skip
            elif isinstance(item, Shape):
                self._path(
                    item.role,
                    [
                        (self._at_x(item.x) + a * self.px, self._at_y(item.y) + b * self.px)
                        for a, b in item.points
                    ],
                    item.is_closed,
                )
            elif isinstance(item, Curve):
                points = [(self.x + a * self.width, self.y + b * self.height) for a, b in item.points]
                self._path(item.role, points, item.is_closed)
            elif isinstance(item, Frame):
                self._frame(item)

    def _rect(self, item: Rect) -> None:
        left, top = self._at_x(item.x), self._at_y(item.y)
        width, height = self._size(item.width, self.width), self._size(item.height, self.height)
        hatched = _HATCHED.get(item.role)
        if hatched is not None:
            self._hatched(item.role, hatched, (left, top, width, height))
            return
        stroke = _STROKES[item.role]
        edge = stroke.ink if stroke.has_edge else None
        self.pen.box(left, top, width, height, fill=stroke.fill, stroke=edge, weight=stroke.weight, dash=stroke.dash)  # fmt: skip

    def _hatched(self, role: str, stroke: _Stroke, box: tuple[float, float, float, float]) -> None:
        if stroke.fill is not None:
            self.pen.box(*box, fill=stroke.fill)
        self.pen.hatch(*box, gap=_HATCH_GAP[role], ink=stroke.ink, weight=stroke.weight)
        if stroke.has_edge:
            self.pen.box(*box, stroke=stroke.ink, weight=0.5)

    def _path(self, role: str, points: Sequence[tuple[float, float]], is_closed: bool) -> None:
        stroke = _STROKES[role]
        edge = stroke.ink if stroke.has_edge else None
        fill = stroke.fill if is_closed else None
        self.pen.polygon(points, fill=fill, stroke=edge, weight=stroke.weight, closed=is_closed, dash=stroke.dash)  # fmt: skip

    def _label(self, item: Label) -> None:
        words = _words(item.role)
        x = self._at_x(item.x) + item.dx * self.px
        y = self._at_y(item.y) + item.dy * self.px
        if words.has_halo:
            width = width_of(item.text, words.style.face, words.style.size)
            left = x - {"start": 0.0, "middle": width / 2, "end": width}[item.anchor]
            self.pen.box(left - 1.0, y - words.style.size * 0.82, width + 2.0, words.style.size * 1.06, fill=PAPER)  # fmt: skip
        self.pen.text(x, y, item.text, words.style, anchor=item.anchor)

    def _frame(self, item: Frame) -> None:
        left, top = self._at_x(item.x), self._at_y(item.y)
        width, height = self._size(item.width, self.width), self._size(item.height, self.height)
        inside = _Area(self.pen, left, top, width, height, self.px)
        if item.is_open:
            inside.draw(item.items)
        else:
            with self.pen.clipped(left, top, width, height):
                inside.draw(item.items)
