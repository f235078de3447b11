"""The working of an ``Estimate`` set for a page: lowered and raised letters as HTML, everything escaped."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from regenplant import working
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.working import Piece, source_text

__all__ = ["Given", "Working", "notation", "source_text", "with_figures", "working_of"]


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
    found = working.working_of(estimate, system)
    return Working(
        name=found.name,
        symbol=notation(found.symbol),
        formula=notation(found.formula),
        figures=_set(found.figures),
        result=found.result,
        other=found.other,
        given=tuple(Given(notation(given.symbol), given.name, given.value) for given in found.given),
        method=found.method,
        source=notation(found.source),
        valid=found.valid,
        uncertainty=found.uncertainty,
        warnings=found.warnings,
    )


def notation(text: str) -> SafeString:
    """``V_r`` with a lowered r, ``e^(−t/τ)`` and ``d^2`` with a raised exponent; everything escaped."""
    return _set(working.notation(text))


def with_figures(formula: str, inputs: tuple[Input, ...], system: str) -> SafeString:
    """The formula with every symbol replaced by its number and unit."""
    return _set(working.with_figures(formula, inputs, system))


_TAGS = {"": "{}", "lowered": "<sub>{}</sub>", "raised": "<sup>{}</sup>"}


def _set(pieces: tuple[Piece, ...]) -> SafeString:
    return format_html_join("", "{}", ((format_html(_TAGS[piece.shift], piece.text),) for piece in pieces))
