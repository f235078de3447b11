"""The working of an ``Estimate`` as a person reads it: formula, the same with figures put in, where each came from."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.sources import SOURCES

_SUBSCRIPT = re.compile(r"([^\W\d_]+)_((?:[^\W_]|∞)+(?:,[^\W_]+)*)|\^\(([^()]*)\)|\^([^\W_]+|[−-]?\d+)")
_UNIT_MARKS = {"^2": "²", "^3": "³", "^-1": "⁻¹", "*": "·", "degC": "°C", "dimensionless": ""}


@dataclass(frozen=True, slots=True)
class Given:
    """One number that went in."""

    symbol: SafeString
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Working:
    """Everything ``components/working.html`` shows."""

    name: str
    symbol: SafeString
    formula: SafeString
    figures: SafeString
    result: str
    other: str
    given: tuple[Given, ...]
    method: str
    source: SafeString
    valid: str
    uncertainty: str
    warnings: tuple[str, ...]


def working_of(estimate: Estimate, system: str) -> Working:
    """The working in the person's units. Raises KeyError for a source or kind that no table names."""
    result = shown(estimate.value, estimate.kind, estimate.unit, system)
    return Working(
        name=estimate.name,
        symbol=notation(estimate.symbol),
        formula=notation(estimate.formula),
        figures=with_figures(estimate.formula, estimate.inputs, system),
        result=result,
        other=units.other_system(estimate.value, estimate.kind, system) if estimate.kind else "",
        given=tuple(
            Given(notation(i.symbol), i.name, shown(i.value, i.kind, i.unit, system)) for i in estimate.inputs
        ),
        method=estimate.method,
        source=notation(source_text(estimate.source)),
        valid=estimate.valid,
        uncertainty=_uncertainty(estimate.uncertainty_frac),
        warnings=estimate.warnings,
    )


def source_text(key: str) -> str:
    """The citation behind a source key; "" for no key."""
    return SOURCES[key].citation() if key else ""


def shown(value: float, kind: str, unit: str, system: str) -> str:
    """A number with its unit: by its kind in the person's units, else in SI as it is."""
    if kind:
        return units.format_quantity(value, kind, system)
    text = units.format_number(value, digits=4, decimals=4)
    for plain, mark in _UNIT_MARKS.items():
        unit = unit.replace(plain, mark)
    return f"{text}{units.NO_BREAK_SPACE}{unit}" if unit else text


def notation(text: str) -> SafeString:
    """``V_r`` with a lowered r, ``e^(−t/τ)`` and ``d^2`` with a raised exponent; everything escaped."""
    pieces: list[SafeString] = []
    end = 0
    for match in _SUBSCRIPT.finditer(text):
        pieces.append(format_html("{}", text[end : match.start()]))
        if match[1]:
            pieces.append(format_html("{}<sub>{}</sub>", match[1], match[2]))
        else:
            pieces.append(format_html("<sup>{}</sup>", match[3] or match[4]))
        end = match.end()
    pieces.append(format_html("{}", text[end:]))
    return format_html_join("", "{}", ((piece,) for piece in pieces))


def with_figures(formula: str, inputs: tuple[Input, ...], system: str) -> SafeString:
    """The formula with every symbol replaced by its number and unit."""
    if not inputs:
        return notation(formula)
    by_symbol = {i.symbol: i for i in inputs}
    longest_first = sorted(by_symbol, key=len, reverse=True)
    symbols = re.compile(r"(?<!\w)(?:" + "|".join(map(re.escape, longest_first)) + r")(?!\w)")
    pieces: list[SafeString] = []
    end = 0
    for match in symbols.finditer(formula):
        pieces.append(_between(formula[end : match.start()]))
        given = by_symbol[match[0]]
        text = shown(given.value, given.kind, given.unit, system)
        is_raised = formula[match.end() :].lstrip().startswith("^")
        pieces.append(format_html("({})" if is_raised or given.value < 0 else "{}", text))
        end = match.end()
    pieces.append(_between(formula[end:]))
    return format_html_join("", "{}", ((piece,) for piece in pieces))


def _between(text: str) -> SafeString:
    return notation(text.replace("·", "×"))


def _uncertainty(frac: float | None) -> str:
    if not frac:
        return ""
    return f"about ±{units.format_number(100 * frac, digits=2, decimals=1)}{units.NO_BREAK_SPACE}%"
