"""Drawing on one page: text, lines, boxes, hatching and shapes, with y counted downward from the top edge in points.

Ink only: shades of grey, and the safety colours of ``safety.py``. Everything must still be told apart in black and white.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Literal

from reportlab.pdfgen.canvas import Canvas

from regenplant.documents.faces import HAIR, INK, Line, Style, font_named, runs_of, width_of

Anchor = Literal["start", "middle", "end"]
Colour = float | str
"""A grey from 0 (black) to 1 (paper), or a colour as "#c8102e"."""
Command = tuple[str, tuple[float, ...]]
"""("M", (x, y)), ("L", (x, y)), ("C", (x1, y1, x2, y2, x, y)), ("Z", ())."""

MILLIMETRE = 72.0 / 25.4


class Pen:
    """Wraps a canvas; remembers what is set, so that nothing is said twice in the file."""

    def __init__(self, canvas: Canvas, page_height: float):
        self.canvas = canvas
        self.page_height = page_height
        self._fill: Colour | None = None
        self._stroke: Colour | None = None
        self._weight: float | None = None

    # --- text -----------------------------------------------------------------------------------------------
    def text(
        self,
        x: float,
        y: float,
        text: str,
        style: Style,
        *,
        anchor: Anchor = "start",
        ink: Colour | None = None,
    ) -> None:
        """One line of text with its base line at ``y``."""
        if anchor != "start":
            width = width_of(text, style.face, style.size)
            x -= width if anchor == "end" else width / 2
        self._set_fill(style.ink if ink is None else ink)
        for run in runs_of(text, style.face):
            self._run(x, self.page_height - y, run.font, style.size, run.text)
            x += run.advance * style.size

    def _run(self, x: float, y: float, font: str, size: float, text: str) -> None:
        """Text of one font, written straight into the page: the library's own way costs four times as much."""
        face, document = font_named(font), self.canvas._doc
        shown = [
            f"{face.getSubsetInternalName(subset, document)} {size:g} Tf ({self.canvas._escape(codes)}) Tj"
            for subset, codes in face.splitString(text, document)
        ]
        self.canvas.addLiteral(f"BT 1 0 0 1 {x:.2f} {y:.2f} Tm {' '.join(shown)} ET")

    def line_of_text(self, x: float, y: float, line: Line) -> None:
        for offset, span in line.pieces:
            self.text(x + offset, y - span.rise, span.text.rstrip(" "), span.style)

    # --- lines and areas ------------------------------------------------------------------------------------
    def rule(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        *,
        weight: float = 0.5,
        ink: Colour = INK,
        dash: Sequence[float] = (),
    ) -> None:
        self._set_stroke(ink, weight)
        if dash:
            self.canvas.setDash(*dash)
        height = self.page_height
        self.canvas.addLiteral(f"n {x1:.2f} {height - y1:.2f} m {x2:.2f} {height - y2:.2f} l S")
        if dash:
            self.canvas.setDash()

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        weight: float = 0.5,
        dash: Sequence[float] = (),
    ) -> None:
        if fill is not None:
            self._set_fill(fill)
        if stroke is not None:
            self._set_stroke(stroke, weight)
        if dash:
            self.canvas.setDash(*dash)
        paint = {(True, False): "f", (False, True): "S", (True, True): "B"}.get(
            (fill is not None, stroke is not None), "n"
        )
        low = self.page_height - y - height
        self.canvas.addLiteral(f"n {x:.2f} {low:.2f} {width:.2f} {height:.2f} re {paint}")
        if dash:
            self.canvas.setDash()

    def hatch(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        gap: float = 2.6,
        ink: Colour = HAIR / 2,
        weight: float = 0.5,
    ) -> None:
        """Strokes at 45 degrees: the forbidden side."""
        if width <= 0 or height <= 0:
            return
        self._set_stroke(ink, weight)
        strokes: list[str] = []
        left, right, top, bottom = x, x + width, self.page_height - y, self.page_height - y - height
        offset = left - height
        while offset < right:
            start_x, start_y = max(offset, left), bottom + max(left - offset, 0.0)
            end_x = min(offset + height, right)
            end_y = bottom + (end_x - offset)
            if end_x > start_x and end_y <= top + 0.01:
                strokes.append(f"{start_x:.2f} {start_y:.2f} m {end_x:.2f} {end_y:.2f} l")
            offset += gap
        self.canvas.addLiteral(f"n {' '.join(strokes)} S")

    def polygon(
        self,
        points: Sequence[tuple[float, float]],
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        weight: float = 0.5,
        closed: bool = True,
        dash: Sequence[float] = (),
    ) -> None:
        commands: list[Command] = [("M" if i == 0 else "L", point) for i, point in enumerate(points)]
        self.outline(
            0,
            0,
            1.0,
            (*commands, ("Z", ())) if closed else tuple(commands),
            fill=fill,
            stroke=stroke,
            weight=weight,
            dash=dash,
        )

    def outline(
        self,
        x: float,
        y: float,
        scale: float,
        commands: Sequence[Command],
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        weight: float = 0.5,
        round_ends: bool = False,
        dash: Sequence[float] = (),
    ) -> None:
        """A shape given in its own units (y downward), placed with its origin at (x, y)."""
        path = self.canvas.beginPath()
        place = self._placer(x, y, scale)
        for name, numbers in commands:
            if name == "M":
                path.moveTo(*place(numbers))
            elif name == "L":
                path.lineTo(*place(numbers))
            elif name == "C":
                path.curveTo(*place(numbers))
            else:
                path.close()
        if fill is not None:
            self._set_fill(fill)
        if stroke is not None:
            self._set_stroke(stroke, weight)
        if round_ends:
            self.canvas.setLineCap(1)
            self.canvas.setLineJoin(1)
        if dash:
            self.canvas.setDash(*dash)
        self.canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))
        if dash:
            self.canvas.setDash()
        if round_ends:
            self.canvas.setLineCap(0)
            self.canvas.setLineJoin(0)

    def _placer(self, x: float, y: float, scale: float) -> Callable[[tuple[float, ...]], list[float]]:
        def place(numbers: tuple[float, ...]) -> list[float]:
            pairs = zip(numbers[0::2], numbers[1::2], strict=True)
            return [value for a, b in pairs for value in (x + a * scale, self.page_height - y - b * scale)]

        return place

    def circle(
        self,
        x: float,
        y: float,
        radius: float,
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        weight: float = 0.5,
    ) -> None:
        if fill is not None:
            self._set_fill(fill)
        if stroke is not None:
            self._set_stroke(stroke, weight)
        self.canvas.circle(
            x, self.page_height - y, radius, stroke=int(stroke is not None), fill=int(fill is not None)
        )

    def bars(
        self, x: float, y: float, unit: float, cells: Sequence[tuple[float, float, float, float]]
    ) -> None:
        """Black cells (x, y, width, height in units) of a code, as one filled path."""
        self._set_fill(INK)
        path = self.canvas.beginPath()
        for left, top, width, height in cells:
            path.rect(
                x + left * unit, self.page_height - y - (top + height) * unit, width * unit, height * unit
            )
        self.canvas.drawPath(path, stroke=0, fill=1)

    @contextmanager
    def clipped(self, x: float, y: float, width: float, height: float) -> Iterator[None]:
        """What is drawn inside is cut at the edges of this rectangle."""
        self.canvas.saveState()
        path = self.canvas.beginPath()
        path.rect(x, self.page_height - y - height, width, height)
        self.canvas.clipPath(path, stroke=0, fill=0)
        yield
        self.canvas.restoreState()
        self._forget()

    def scaled(self, x: float, y: float, scale: float, draw: Callable[[Pen, float, float], None]) -> None:
        """Draw something with its origin at (x, y), smaller or larger by ``scale``."""
        self.canvas.saveState()
        self.canvas.transform(scale, 0, 0, scale, x, (self.page_height - y) - scale * self.page_height)
        self._forget()
        draw(self, 0.0, 0.0)
        self.canvas.restoreState()
        self._forget()

    # --- state ----------------------------------------------------------------------------------------------
    def _forget(self) -> None:
        self._fill = self._stroke = self._weight = None

    def _set_fill(self, colour: Colour) -> None:
        if colour != self._fill:
            self._fill = colour
            if isinstance(colour, str):
                self.canvas.setFillColorRGB(*_rgb(colour))
            else:
                self.canvas.setFillGray(colour)

    def _set_stroke(self, colour: Colour, weight: float) -> None:
        if colour != self._stroke:
            self._stroke = colour
            if isinstance(colour, str):
                self.canvas.setStrokeColorRGB(*_rgb(colour))
            else:
                self.canvas.setStrokeGray(colour)
        if weight != self._weight:
            self._weight = weight
            self.canvas.setLineWidth(weight)


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return red, green, blue
