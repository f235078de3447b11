"""A drawing as a list of primitives, and its SVG.

Lengths are a share of the drawing's extent or pixels, never both: the SVG carries no ``viewBox``, is 100 % wide
and so never stretches its text, and needs neither script nor style attribute. Curves alone are stretched, in an
inner frame of 1000 by 1000 with strokes that keep their weight. Another back end (paper) walks ``Scene.items`` and
places a length with ``Length.at(extent)``; ``role`` names the line or fill (a class of regenplant.css).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Length:
    """A position or size: ``of`` as a share of the extent (0 to 1 inside the drawing), or ``px`` pixels."""

    of: float = 0.0
    px: float = 0.0

    def __post_init__(self) -> None:
        if self.of and self.px:
            raise ValueError("a length is a share or pixels, not both")

    def at(self, extent: float) -> float:
        """The length in the units of ``extent``."""
        return self.of * extent + self.px

    def svg(self) -> str:
        """As an SVG attribute: "33.33%" or "12"."""
        return f"{_plain(self.of * 100)}%" if self.of else _plain(self.px)


def share(value: float) -> Length:
    """A share of the extent."""
    return Length(of=value)


def px(value: float) -> Length:
    """Pixels."""
    return Length(px=value)


NOTHING = Length()
WHOLE = Length(of=1.0)


def _plain(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle; ``x`` and ``y`` are its upper left corner."""

    role: str
    x: Length
    y: Length
    width: Length
    height: Length

    def svg(self) -> SafeString:
        return format_html(
            '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
            self.role,
            self.x.svg(),
            self.y.svg(),
            self.width.svg(),
            self.height.svg(),
        )


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    role: str
    x1: Length
    y1: Length
    x2: Length
    y2: Length

    def svg(self) -> SafeString:
        return format_html(
            '<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>',
            self.role,
            self.x1.svg(),
            self.y1.svg(),
            self.x2.svg(),
            self.y2.svg(),
        )


@dataclass(frozen=True, slots=True)
class Label:
    """Text at a point, moved by ``dx`` and ``dy`` pixels. ``dy`` counts to the base line of the text."""

    role: str
    x: Length
    y: Length
    text: str
    anchor: Anchor = "start"
    dx: float = 0.0
    dy: float = 0.0

    def svg(self) -> SafeString:
        return format_html(
            '<text class="{}" x="{}" y="{}" dx="{}" dy="{}" text-anchor="{}">{}</text>',
            self.role,
            self.x.svg(),
            self.y.svg(),
            _plain(self.dx),
            _plain(self.dy),
            self.anchor,
            self.text,
        )


@dataclass(frozen=True, slots=True)
class Dot:
    """A circle; ``radius`` in pixels."""

    role: str
    x: Length
    y: Length
    radius: float

    def svg(self) -> SafeString:
        return format_html(
            '<circle class="{}" cx="{}" cy="{}" r="{}"/>',
            self.role,
            self.x.svg(),
            self.y.svg(),
            _plain(self.radius),
        )


@dataclass(frozen=True, slots=True)
class Shape:
    """A small figure of fixed size at a point; ``points`` are pixels from that point."""

    role: str
    x: Length
    y: Length
    points: tuple[Point, ...]
    is_closed: bool = True

    def svg(self) -> SafeString:
        path = (
            "M"
            + " ".join(f"{_plain(x)} {_plain(y)}" for x, y in self.points)
            + ("Z" if self.is_closed else "")
        )
        return format_html(
            '<svg x="{}" y="{}" overflow="visible"><path class="{}" d="{}"/></svg>',
            self.x.svg(),
            self.y.svg(),
            self.role,
            path,
        )


@dataclass(frozen=True, slots=True)
class Curve:
    """A line or area through ``points``, each a share of width and height from the top left corner."""

    role: str
    points: tuple[Point, ...]
    is_closed: bool = False

    def svg(self) -> SafeString:
        path = (
            "M"
            + " ".join(f"{x * 1000:.1f} {y * 1000:.1f}" for x, y in self.points)
            + ("Z" if self.is_closed else "")
        )
        return format_html(
            '<svg viewBox="0 0 1000 1000" preserveAspectRatio="none" width="100%" height="100%">'
            '<path class="{}" d="{}"/></svg>',
            self.role,
            path,
        )


@dataclass(frozen=True, slots=True)
class Symbol:
    """A shape of the sprite, ``size`` pixels square, centred on a point."""

    name: str
    x: Length
    y: Length
    size: float
    role: str = ""

    def svg(self) -> SafeString:
        half = _plain(-self.size / 2)
        return format_html(
            '<svg class="{}" x="{}" y="{}" overflow="visible">'
            '<use href="#m-{}" x="{}" y="{}" width="{}" height="{}"/></svg>',
            self.role,
            self.x.svg(),
            self.y.svg(),
            self.name,
            half,
            half,
            _plain(self.size),
            _plain(self.size),
        )


@dataclass(frozen=True, slots=True)
class Frame:
    """A part of the drawing with its own extent; what sticks out of it is cut unless ``is_open``."""

    x: Length
    y: Length
    width: Length
    height: Length
    items: tuple[Item, ...]
    is_open: bool = False

    def svg(self) -> SafeString:
        return format_html(
            '<svg x="{}" y="{}" width="{}" height="{}" overflow="{}">{}</svg>',
            self.x.svg(),
            self.y.svg(),
            self.width.svg(),
            self.height.svg(),
            "visible" if self.is_open else "hidden",
            _all(self.items),
        )


@dataclass(frozen=True, slots=True)
class Link:
    """Items that lead to a page. What they lead to stands in the table of the drawing as well, in the order of the keyboard; so they
    are for the pointer only, but where the drawing is worked with (``is_reached``)."""

    url: str
    label: str
    items: tuple[Item, ...]
    is_reached: bool = False

    def svg(self) -> SafeString:
        reached = "" if self.is_reached else SafeString(' tabindex="-1"')
        return format_html(
            '<a href="{}"{} aria-label="{}"><title>{}</title>{}</a>',
            self.url,
            reached,
            self.label,
            self.label,
            _all(self.items),
        )


Item = Rect | Line | Label | Dot | Shape | Curve | Symbol | Frame | Link


def _all(items: tuple[Item, ...]) -> SafeString:
    return format_html_join("", "{}", ((item.svg(),) for item in items))


@dataclass(frozen=True, slots=True)
class Scene:
    """A whole drawing: its sentence for those who do not see it, its height in pixels, its items back to front."""

    label: str
    height: int
    items: tuple[Item, ...]
    role: str = "draw"

    @property
    def is_pressed(self) -> bool:
        """Whether something in it leads somewhere: then it is a group, as nothing inside an image can be reached."""
        return any(isinstance(item, Link) for item in self.items)

    def to_svg(self) -> SafeString:
        """Inline SVG, safe to put in a page: every text and attribute in it is escaped."""
        return format_html(
            '<svg class="{}" height="{}" role="{}" aria-label="{}">{}</svg>',
            self.role,
            self.height,
            "group" if self.is_pressed else "img",
            self.label,
            _all(self.items),
        )
