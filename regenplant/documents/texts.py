"""Numbers and formulas as they stand on paper: both unit systems, limits in words, workings with figures put in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant import units, working
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.wording import short_time
from regenplant.documents.faces import FORMULA, Face, Span, Style
from regenplant.working import Piece

OTHER: dict[str, units.UnitSystem] = {"metric": "us", "us": "metric"}
_RECIPROCAL = {"conductivity": "resistivity", "resistivity": "conductivity"}


def own(value: float, kind: str, unit: str, system: str) -> str:
    """A number with its unit: by its kind in the order of the paper, else in SI as it is."""
    return working.shown(value, kind, unit, system)


def other(value: float, kind: str, system: str) -> str:
    """The same in the other unit system, "" where there is none."""
    return units.other_system(value, kind, system) if kind else ""


def both(value: float, kind: str, system: str) -> str:
    """ "1 416 L · 50.0 ft³"."""
    return units.twin(value, kind, system)


limit_number, limit_words = units.limit_number, units.limit_words
"""A limit reads on paper as it reads on the screen."""


def limit_words_other(low: float | None, high: float | None, kind: str, system: str) -> str:
    """The same limits in the other unit system; for resistivity as conductivity and the other way round."""
    if kind in _RECIPROCAL:
        turned_low = 1.0 / high if high else None
        turned_high = 1.0 / low if low else None
        return limit_words(turned_low, turned_high, _RECIPROCAL[kind], system)
    if not units.has_twin(kind):
        return ""
    return limit_words(low, high, kind, OTHER[system])


def headed(name: str) -> str:
    """A name as it begins a line: capitalized, but for "pH"."""
    return name if name.startswith("pH") else name[:1].upper() + name[1:]


# --- times ------------------------------------------------------------------------------------------------------
def clock_time(seconds: float) -> str:
    """A duration for people: "40 s", "12 min", "1 h 05 min"."""
    if short := short_time(seconds):
        return short
    minutes = round(seconds / 60.0)
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def moment(at: datetime) -> str:
    """Date and time to the minute with its offset from UTC: "2026-03-11 14:05-06:00" (ISO 8601)."""
    return at.isoformat(sep=" ", timespec="minutes")


def grouped(digest: str, groups: int = 4) -> str:
    """The head of a digest in groups of four, for reading aloud."""
    return " ".join(digest[i : i + 4] for i in range(0, 4 * groups, 4))


# --- workings ---------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class WorkingText:
    """A working ready to be set: result, formula, the formula with figures, and where each figure came from."""

    name: str
    symbol: tuple[Span, ...]
    formula: tuple[Span, ...]
    figures: tuple[Span, ...]
    result: str
    result_other: str
    given: tuple[tuple[tuple[Span, ...], str, str], ...]
    method: str
    valid: str
    source: str
    uncertainty: str
    warnings: tuple[str, ...]


def working_text(estimate: Estimate, system: str) -> WorkingText:
    """The working of one figure. Raises KeyError for a source or kind that no table names."""
    found = working.working_of(estimate, system)
    return WorkingText(
        name=found.name,
        symbol=notation(found.symbol),
        formula=notation(found.formula),
        figures=_set(found.figures),
        result=found.result,
        result_other=found.other,
        given=tuple((notation(given.symbol, _SMALL), given.name, given.value) for given in found.given),
        method=found.method,
        valid=found.valid,
        source=found.source,
        uncertainty=found.uncertainty,
        warnings=found.warnings,
    )


_SMALL = Style(Face.BOOK, 8, 10)


def notation(text: str, style: Style = FORMULA) -> tuple[Span, ...]:
    """``V_r`` with a lowered r, ``e^(−t/τ)`` and ``d^2`` with a raised exponent."""
    return _set(working.notation(text), style)


def _set(pieces: tuple[Piece, ...], style: Style = FORMULA) -> tuple[Span, ...]:
    small = Style(style.face, style.size * 0.72, style.leading, style.ink)
    rise = {"lowered": -style.size * 0.18, "raised": style.size * 0.35}
    return tuple(
        Span(piece.text, small, rise[piece.shift]) if piece.shift else Span(piece.text, style)
        for piece in pieces
    )
