"""Numbers and formulas as they stand on paper: both unit systems, limits in words, workings with figures put in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.sources import SOURCES
from regenplant.documents.faces import FORMULA, Face, Span, Style

OTHER: dict[str, units.UnitSystem] = {"metric": "us", "us": "metric"}
_RECIPROCAL = {"conductivity": "resistivity", "resistivity": "conductivity"}
_UNIT_MARKS = {"^2": "²", "^3": "³", "^-1": "⁻¹", "*": "·", "degC": "°C", "kelvin": "K", "dimensionless": ""}


def own(value: float, kind: str, unit: str, system: str) -> str:
    """A number with its unit: by its kind in the order of the paper, else in SI as it is."""
    if kind:
        return units.format_quantity(value, kind, system)
    text = units.format_number(value, digits=4, decimals=4)
    for plain, mark in _UNIT_MARKS.items():
        unit = unit.replace(plain, mark)
    return f"{text}{units.NO_BREAK_SPACE}{unit}" if unit else text


def other(value: float, kind: str, system: str) -> str:
    """The same in the other unit system, "" where there is none."""
    return units.other_system(value, kind, system) if kind else ""


def both(value: float, kind: str, system: str) -> str:
    """ "1 416 L · 50.0 ft³"."""
    return units.twin(value, kind, system)


def limit_number(value: float, kind: str, system: str) -> str:
    """The number at a limit, without unit and without idle zeros."""
    text = units.format_quantity(value, kind, system, with_unit=False)
    return text.rstrip("0").rstrip(".") if "." in text and "×" not in text else text


def limit_words(low: float | None, high: float | None, kind: str, system: str) -> str:
    """The limits in words: "60 to 73 L/min", "at least 10 MΩ·cm", "at most 1 mg/L", "" for none."""
    unit = units.unit_text(kind, system)
    tail = f"{units.NO_BREAK_SPACE}{unit}" if unit else ""
    if low is not None and high is not None:
        first, second = limit_number(low, kind, system), limit_number(high, kind, system)
        return f"{first}{tail}" if first == second else f"{first} to {second}{tail}"
    if low is not None:
        return f"at least {limit_number(low, kind, system)}{tail}"
    if high is not None:
        return f"at most {limit_number(high, kind, system)}{tail}"
    return ""


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
    """A duration for people: "12 min", "1 h 05 min"."""
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
    frac = estimate.uncertainty_frac
    return WorkingText(
        name=estimate.name,
        symbol=notation(estimate.symbol),
        formula=notation(estimate.formula),
        figures=with_figures(estimate.formula, estimate.inputs, system),
        result=own(estimate.value, estimate.kind, estimate.unit, system),
        result_other=other(estimate.value, estimate.kind, system),
        given=tuple(
            (notation(i.symbol, _SMALL), i.name, own(i.value, i.kind, i.unit, system))
            for i in estimate.inputs
        ),
        method=estimate.method,
        valid=estimate.valid,
        source=SOURCES[estimate.source].citation() if estimate.source else "",
        uncertainty=f"±{units.format_number(100 * frac, digits=2, decimals=1)}{units.NO_BREAK_SPACE}%"
        if frac
        else "",
        warnings=estimate.warnings,
    )


_SMALL = Style(Face.BOOK, 8, 10)
_SHIFTED = re.compile(r"([^\W\d_]+)_([^\W_]+(?:,[^\W_]+)*)|\^\(([^()]*)\)|\^([^\W_]+|[−-]?\d+(?:\.\d+)?)")


def notation(text: str, style: Style = FORMULA) -> tuple[Span, ...]:
    """``V_r`` with a lowered r, ``e^(−t/τ)`` and ``d^2`` with a raised exponent."""
    small = Style(style.face, style.size * 0.72, style.leading, style.ink)
    spans: list[Span] = []
    end = 0
    for match in _SHIFTED.finditer(text):
        if match.start() > end:
            spans.append(Span(text[end : match.start()], style))
        if match[1]:
            spans += [Span(match[1], style), Span(match[2], small, -style.size * 0.18)]
        else:
            spans.append(Span(match[3] or match[4], small, style.size * 0.35))
        end = match.end()
    if end < len(text):
        spans.append(Span(text[end:], style))
    return tuple(spans)


def with_figures(formula: str, inputs: tuple[Input, ...], system: str) -> tuple[Span, ...]:
    """The formula with every symbol replaced by its number and unit; () where nothing is put in."""
    if not inputs:
        return ()
    by_symbol = {i.symbol: i for i in inputs}
    longest_first = sorted(by_symbol, key=len, reverse=True)
    symbols = re.compile(r"(?<!\w)(?:" + "|".join(map(re.escape, longest_first)) + r")(?!\w)")
    spans: list[Span] = []
    end = 0
    for match in symbols.finditer(formula):
        spans += notation(formula[end : match.start()].replace("·", "×"))
        given = by_symbol[match[0]]
        text = own(given.value, given.kind, given.unit, system)
        is_raised = formula[match.end() :].lstrip().startswith("^")
        spans.append(Span(f"({text})" if is_raised or given.value < 0 else text, FORMULA))
        end = match.end()
    if end == 0:
        return ()
    spans += notation(formula[end:].replace("·", "×"))
    return tuple(spans)
