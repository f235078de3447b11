"""The working of an ``Estimate``, made once for every place that shows it: screen, paper, JSON, the prompt.

Formula in standard notation, the same with its numbers and units put in, the result, what each symbol stands for, how it
was found, where that holds, and the source. Screens and papers only set the pieces in their own type.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any, Literal

from regenplant import units
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.sources import SOURCES

Shift = Literal["", "lowered", "raised"]

_SHIFTED = re.compile(
    r"([^\W\d_]+)_((?:[^\W_]|∞)+(?:[,_][^\W_]+)*)|\^\(([^()]*)\)|\^([^\W\d_]\w*|[−-]?\d+(?:\.\d+)?)"
)
_UNIT_MARKS = {"^2": "²", "^3": "³", "^6": "⁶", "^-1": "⁻¹", "*": "·", "degC": "°C", "kelvin": "K", "dimensionless": ""}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a formula on, below or above the line."""

    text: str
    shift: Shift = ""


@dataclass(frozen=True, slots=True)
class Given:
    """One number that went in."""

    symbol: str
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Working:
    """A working in words, ready to be set. ``figures`` is () where nothing can be put in (a table, a solved equation)."""

    name: str
    symbol: str
    formula: str
    figures: tuple[Piece, ...]
    result: str
    other: str
    given: tuple[Given, ...]
    method: str
    source: str
    valid: str
    uncertainty: str
    warnings: tuple[str, ...]


def working_of(estimate: Estimate, system: str) -> Working:
    """The working in the person's units. Raises KeyError for a source or kind that no table names."""
    return Working(
        name=estimate.name,
        symbol=estimate.symbol,
        formula=estimate.formula,
        figures=with_figures(estimate.formula, estimate.inputs, system),
        result=shown(estimate.value, estimate.kind, estimate.unit, system),
        other=units.other_system(estimate.value, estimate.kind, system) if estimate.kind else "",
        given=tuple(
            Given(i.symbol, i.name, put_in(i.value, i.kind, i.unit, system)) for i in estimate.inputs
        ),
        method=estimate.method,
        source=source_text(estimate.source),
        valid=estimate.valid,
        uncertainty=uncertainty_of(estimate, system),
        warnings=estimate.warnings,
    )


def source_text(key: str) -> str:
    """The citation behind a source key; "" for no key."""
    return SOURCES[key].citation() if key else ""


def uncertainty_text(frac: float | None) -> str:
    """ "about ±15 %"; "" where the method adds nothing."""
    if not frac:
        return ""
    return f"about ±{units.format_number(100 * frac, digits=2, decimals=1)}{units.NO_BREAK_SPACE}%"


_NOTHING = 1e-12
CONVERSIONS = ("x · f", "f / x")
"""Formulas of a conversion: number times factor, and the reciprocal; they give the number in the unit asked for."""


def uncertainty_of(estimate: Estimate, system: str) -> str:
    """ "about ±15 %", or "about ±2.0 °C" where a share says nothing; "" where the method adds nothing."""
    if estimate.uncertainty_abs is None:
        return uncertainty_text(estimate.uncertainty_frac)
    kind = {"temperature": "temperature_rise"}.get(estimate.kind, estimate.kind)
    if kind:
        number, mark = (
            units.shown_value(estimate.uncertainty_abs, kind, system),
            units.unit_text(kind, system),
        )
    else:
        number, mark = estimate.uncertainty_abs, _marked(estimate.unit)
    text = units.format_number(number, digits=2, decimals=3)
    return f"about ±{text}{units.NO_BREAK_SPACE}{mark}" if mark else f"about ±{text}"


def shown(value: float, kind: str, unit: str, system: str) -> str:
    """A number with its unit: by its kind in the person's units, else in SI as it is."""
    if kind:
        return units.format_quantity(value, kind, system)
    text = units.format_number(value, digits=4, decimals=4)
    unit = _marked(unit)
    return f"{text}{units.NO_BREAK_SPACE}{unit}" if unit else text


_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_PUT_IN_DIGITS = 5
"""Significant digits of a number that goes into a formula: more than any result shows, so that it comes out by hand."""


def put_in(value: float, kind: str, unit: str, system: str) -> str:
    """A number as it goes into a formula: with its unit, not rounded for show, without idle zeros."""
    if kind:
        number, mark = units.shown_value(value, kind, system), units.unit_text(kind, system)
    else:
        number, mark = value, _marked(unit)
    text = _to_calculate_with(number)
    return f"{text}{units.NO_BREAK_SPACE}{mark}" if mark else text


def _to_calculate_with(number: float) -> str:
    if math.isinf(number):
        return units.format_number(number)
    if abs(number) < _NOTHING:
        number = 0.0  # the dust of floating point
    if number != 0.0 and not 1e-3 <= abs(number) < 1e9:
        mantissa, exponent = f"{number:.{_PUT_IN_DIGITS - 1}e}".split("e")
        text = f"{_trimmed(mantissa)}×10{str(int(exponent)).translate(_SUPERSCRIPTS)}"
    else:
        places = max(0, _PUT_IN_DIGITS - 1 - (math.floor(math.log10(abs(number))) if number else 0))
        text = _trimmed(f"{number:,.{places}f}".replace(",", units.THIN_SPACE))
    return text.replace("-", units.MINUS)


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def _marked(unit: str) -> str:
    for plain_mark, mark in _UNIT_MARKS.items():
        unit = unit.replace(plain_mark, mark)
    return unit


def notation(text: str) -> tuple[Piece, ...]:
    """``V_r`` with a lowered r, ``e^(−t/τ)`` and ``d^2`` with a raised exponent."""
    pieces: list[Piece] = []
    end = 0
    for match in _SHIFTED.finditer(text):
        if match.start() > end:
            pieces.append(Piece(text[end : match.start()]))
        if match[1]:
            pieces += [Piece(match[1]), Piece(match[2].replace("_", ","), "lowered")]
        else:
            pieces.append(Piece(match[3] or match[4], "raised"))
        end = match.end()
    if end < len(text):
        pieces.append(Piece(text[end:]))
    return tuple(pieces)


def with_figures(formula: str, inputs: tuple[Input, ...], system: str) -> tuple[Piece, ...]:
    """The formula with every symbol replaced by its number and unit; () where nothing is put in."""
    if not inputs:
        return ()
    by_symbol = {i.symbol: i for i in inputs}
    longest_first = sorted(by_symbol, key=len, reverse=True)
    symbols = re.compile(r"(?<!\w)(?:" + "|".join(map(re.escape, longest_first)) + r")(?!\w)")
    pieces: list[Piece] = []
    end = 0
    for match in symbols.finditer(formula):
        pieces += notation(formula[end : match.start()].replace("·", "×"))
        given = by_symbol[match[0]]
        text = put_in(given.value, given.kind, given.unit, system)
        is_raised = formula[match.end() :].lstrip().startswith("^")
        pieces.append(Piece(f"({text})" if is_raised or given.value < 0 else text))
        end = match.end()
    if end == 0:
        return ()
    return (*pieces, *notation(formula[end:].replace("·", "×")))


# --- as text and as JSON ----------------------------------------------------------------------------------------
def plain(pieces: tuple[Piece, ...]) -> str:
    """The pieces on one line: ``V_r``, ``d^2``, ``e^(−t/τ)``."""
    text = ""
    for piece in pieces:
        if piece.shift == "lowered":
            text += f"_{piece.text}"
        elif piece.shift == "raised":
            text += f"^{piece.text}" if re.fullmatch(r"[−-]?[\w.]+", piece.text) else f"^({piece.text})"
        else:
            text += piece.text
    return text


def result_text(estimate: Estimate, system: str = "metric", unit: str = "") -> str:
    """The result to five digits, in the units of the working and then in the unit asked for: "1.0151 eq/L = 22.2 kgr/ft3".

    Where the formula already gives the unit asked for (a conversion: its first input is a bare number), that alone.
    """
    if not math.isfinite(estimate.value):
        return "never"
    own = put_in(estimate.value, estimate.kind, estimate.unit, system)
    if unit in ("", "-"):
        return own
    asked = _to_calculate_with(units.in_unit(estimate.value, estimate.unit, unit))
    if estimate.formula in CONVERSIONS:
        return f"{asked}{units.NO_BREAK_SPACE}{unit}"
    own_unit = units.plain_unit(units.unit_text(estimate.kind, system) if estimate.kind else estimate.unit)
    if units.plain_unit(unit) == own_unit:
        return own
    return f"{own} = {asked}{units.NO_BREAK_SPACE}{unit}"


def as_text(estimate: Estimate, system: str = "metric", unit: str = "") -> str:
    """The working in lines, for the prompt and for files; ``unit`` is the one asked for."""
    working = working_of(estimate, system)
    figures = f" = {plain(working.figures)}" if working.figures else ""
    twin = f" ({working.other})" if working.other else ""
    lines = [
        working.name,
        f"{working.symbol} = {working.formula}{figures} = {result_text(estimate, system, unit)}{twin}",
        *(f"  {given.symbol}: {given.name}, {given.value}" for given in working.given),
        _manner(working),
        *(f"Note: {warning}" for warning in working.warnings),
    ]
    return "\n".join(lines)


def _manner(working: Working) -> str:
    parts = [working.method + (f", {working.uncertainty}" if working.uncertainty else "")]
    parts += [f"holds for {working.valid}"] if working.valid else []
    parts += [f"source: {working.source}"] if working.source else []
    return "; ".join(parts) + "."


def as_json(estimate: Estimate, system: str = "metric", unit: str = "") -> dict[str, Any]:
    """The working as plain values: formula, substitution and result as text, every input in words and in SI."""
    figures = plain(with_figures(estimate.formula, estimate.inputs, system))
    return {
        "symbol": estimate.symbol,
        "name": estimate.name,
        "formula": f"{estimate.symbol} = {estimate.formula}",
        "substitution": f"{estimate.symbol} = {figures}" if figures else "",
        "result": f"{estimate.symbol} = {result_text(estimate, system, unit)}",
        "inputs": [
            {
                "symbol": entry.symbol,
                "name": entry.name,
                "shown": put_in(entry.value, entry.kind, entry.unit, system),
                "value_si": entry.value,
                "unit_si": units.plain_unit(entry.unit),
            }
            for entry in estimate.inputs
        ],
        "method": estimate.method,
        "valid": estimate.valid,
        "source": source_text(estimate.source),
    }


def figure_json(estimate: Estimate, system: str = "metric") -> dict[str, Any]:
    """One figure of a plan: the number in SI, as shown, and its working."""
    return {
        "name": estimate.name,
        "value_si": estimate.value,
        "unit_si": units.plain_unit(estimate.unit),
        "shown": shown(estimate.value, estimate.kind, estimate.unit, system),
        "other": units.other_system(estimate.value, estimate.kind, system) if estimate.kind else "",
        "uncertainty_frac": estimate.uncertainty_frac,
        "warnings": list(estimate.warnings),
        "working": as_json(estimate, system),
    }
