"""GHS hazard pictograms as vectors: a square on its point, red frame, black symbol, white ground.

Our own drawings after the pictures of the UN GHS. They remind; the label on the container and the supplier's data sheet
in force are the authority. Coordinates are in a field of 100 by 100, y downward.
"""

from __future__ import annotations

from collections.abc import Callable

from regenplant.documents.faces import INK, PAPER
from regenplant.documents.pen import Command, Pen

FRAME_RED = "#c8102e"

NAMES = {
    "GHS01": "exploding bomb",
    "GHS02": "flame",
    "GHS03": "flame over circle",
    "GHS04": "gas cylinder",
    "GHS05": "corrosion",
    "GHS06": "skull and crossbones",
    "GHS07": "exclamation mark",
    "GHS08": "health hazard",
    "GHS09": "environment",
}


def path(text: str) -> tuple[Command, ...]:
    """Commands from a path of absolute "M x y", "L x y", "C x1 y1 x2 y2 x y" and "Z"."""
    commands: list[Command] = []
    numbers: list[float] = []
    name = ""
    for token in [*text.split(), "end"]:
        if token[0].isalpha():
            if name:
                commands.append((name, tuple(numbers)))
            name, numbers = token, []
        else:
            numbers.append(float(token))
    return tuple(commands)


_TUBE_LEFT = path("M 34.8 30.9 L 47.8 37 L 44.2 44.6 L 31.2 38.5 C 26.1 36.1 29.7 28.5 34.8 30.9 Z")
_LIQUID_LEFT = path("M 34.4 34.2 L 45.8 39.5 L 45 41.1 L 33.6 35.8 Z")
_METAL = path(
    "M 22.5 59 L 36.5 59 C 37 61.6 38.4 62.2 39.6 63 C 41.4 64.2 43 64.6 45 65 L 48 65.2 L 48 69.4 L 31 69.4 L 22.5 61.4 Z"
)
_HAND = path(
    "M 77.5 59 L 66 59 C 65.4 61.4 63.6 62.4 61.4 63 L 52.6 64.6 C 50.8 65 50.6 67.2 52.2 67.9 L 57.4 68.2 "
    "L 52.2 71.2 C 50.6 72.2 51.4 74.6 53.4 74.2 L 60 72 L 56.6 75.6 C 55.6 77.2 57.4 78.6 59 77.6 L 65.2 73.2 L 69 69.4 Z"
)
_VAPOUR = (
    path("M 38.6 57.4 C 40.2 55.6 37.4 54.4 39 52"),
    path("M 34.4 57 C 36 55.2 33.2 54 34.8 51.6"),
    path("M 61.4 57.4 C 63 55.6 60.2 54.4 61.8 52"),
    path("M 65.6 57 C 67.2 55.2 64.4 54 66 51.6"),
)
_FLAME = path(
    "M 50 60 C 40 58 34.5 50 37 41 C 38.6 43.6 40 45 42 45.6 C 39.6 37 43 28.6 52 20.5 C 51.4 26 53.4 29 56.4 32.4 "
    "C 57.8 30.6 58.2 29 58.2 27 C 64.6 34 66.4 42 63.8 48.4 C 62 53.6 57.6 58.6 50 60 Z"
)
_FLAME_HEART = path("M 50 57 C 45 55 44 50.6 46.8 46.4 C 47.6 48.2 48.6 49 49.8 49.2 C 49.4 46 50.6 43 53.4 40.6 C 53.6 44.6 57 46.6 56.4 51 C 55.8 54.2 53.4 56.4 50 57 Z")  # fmt: skip
_EXCLAMATION = path("M 43.6 22 L 56.4 22 L 53.6 57 L 46.4 57 Z")


def _mirrored(commands: tuple[Command, ...]) -> tuple[Command, ...]:
    return tuple(
        (name, tuple(100 - v if i % 2 == 0 else v for i, v in enumerate(numbers)))
        for name, numbers in commands
    )


def _corrosion(pen: Pen, x: float, y: float, scale: float) -> None:
    for tube, liquid in ((_TUBE_LEFT, _LIQUID_LEFT), (_mirrored(_TUBE_LEFT), _mirrored(_LIQUID_LEFT))):
        pen.outline(x, y, scale, tube, fill=INK)
        pen.outline(x, y, scale, liquid, fill=PAPER)
    for across, down, radius in ((44.6, 48.4, 1.8), (43.6, 53.4, 2), (44.2, 58.8, 2.1)):
        pen.circle(x + across * scale, y + down * scale, radius * scale, fill=INK)
        pen.circle(x + (100 - across) * scale, y + down * scale, radius * scale, fill=INK)
    pen.outline(x, y, scale, _METAL, fill=INK)
    pen.outline(x, y, scale, _HAND, fill=INK)
    for curl in _VAPOUR:
        pen.outline(x, y, scale, curl, stroke=INK, weight=1.4 * scale)


def _oxidizer(pen: Pen, x: float, y: float, scale: float) -> None:
    pen.circle(x + 50 * scale, y + 65.5 * scale, 10.5 * scale, stroke=INK, weight=4.4 * scale)
    pen.rule(x + 38.5 * scale, y + 80 * scale, x + 61.5 * scale, y + 80 * scale, weight=3.2 * scale)
    pen.outline(x, y, scale, _FLAME, fill=INK)
    pen.outline(x, y, scale, _FLAME_HEART, fill=PAPER)


def _flame(pen: Pen, x: float, y: float, scale: float) -> None:
    """The flame of the oxidizer a quarter larger, on a line."""
    larger = 1.25 * scale
    left, top = x - 12.5 * scale, y - 2.0 * scale
    pen.outline(left, top, larger, _FLAME, fill=INK)
    pen.outline(left, top, larger, _FLAME_HEART, fill=PAPER)
    pen.rule(x + 39 * scale, y + 78.5 * scale, x + 61 * scale, y + 78.5 * scale, weight=3.2 * scale)


def _exclamation(pen: Pen, x: float, y: float, scale: float) -> None:
    pen.outline(x, y, scale, _EXCLAMATION, fill=INK)
    pen.circle(x + 50 * scale, y + 68.5 * scale, 6.4 * scale, fill=INK)


_SYMBOLS: dict[str, Callable[[Pen, float, float, float], None]] = {
    "GHS02": _flame,
    "GHS03": _oxidizer,
    "GHS05": _corrosion,
    "GHS07": _exclamation,
}


def is_drawn(code: str) -> bool:
    """Whether there is a drawing; a pictogram without one is named in words instead, never drawn empty."""
    return code in _SYMBOLS


def named(code: str) -> str:
    """ "GHS05 corrosion"."""
    return f"{code} {NAMES.get(code, '')}".strip()


def draw(pen: Pen, x: float, y: float, side: float, code: str) -> None:
    """The pictogram in a square of ``side`` points. KeyError for one that is not drawn."""
    symbol = _SYMBOLS[code]
    scale = side / 100.0
    corners = [(x + a * scale, y + b * scale) for a, b in ((50, 4.5), (95.5, 50), (50, 95.5), (4.5, 50))]
    pen.polygon(corners, fill=PAPER, stroke=FRAME_RED, weight=5.5 * scale)
    symbol(pen, x, y, scale)
