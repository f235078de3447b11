"""A question to the bench and its answer, as plain values for JSON, the prompt and the page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from regenplant import units, working
from regenplant.bench.names import quantity_meant
from regenplant.bench.reading import Read, in_listed_unit, read_inputs
from regenplant.core.bench.quantity import Answer, Quantity
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.errors import DomainError, OutOfRange


@dataclass(frozen=True, slots=True)
class Answered:
    """One answer with what it was worked out from."""

    quantity: Quantity
    inputs: Mapping[str, Read]
    answer: Answer
    unit: str
    notes: tuple[str, ...] = field(default_factory=tuple)


def answer(name: str, given: Mapping[str, object], *, unit: str = "", system: str = "metric") -> Answered:
    """Work out a quantity from inputs as people type them.

    Raises: BenchRefused for a name or input that cannot be taken, OutOfRange where the method does not hold,
    UnitNotUnderstood when ``unit`` does not fit the answer.
    """
    quantity = quantity_meant(name)
    inputs = read_inputs(quantity, given, system)
    found = quantity.work_out(**{read.spec.argument: read.value for read in inputs.values()})
    if not math.isfinite(found.main.value) and not found.sentence:
        raise OutOfRange("The method gives no number for these inputs.", code="no_number")
    asked = inputs[quantity.unit_input].text if quantity.unit_input else ""
    notes = tuple(read.note for read in inputs.values() if read.note)
    return Answered(quantity, inputs, found, unit or asked or quantity.unit, notes)


def shown_number(value: float, si_unit: str, unit: str) -> float | None:
    """The number in its unit, without the dust of floating point; None for "never"."""
    if not math.isfinite(value):
        return None
    return float(f"{units.in_unit(value, si_unit, unit):.10g}")


def as_json(found: Answered, system: str = "metric") -> dict[str, Any]:
    """The answer as it is printed: the number first."""
    main = found.answer.main
    return {
        "quantity": found.quantity.key,
        "value": shown_number(main.value, main.unit, found.unit),
        "unit": found.unit,
        "value_si": main.value if math.isfinite(main.value) else None,
        "unit_si": units.plain_unit(main.unit),
        "name": main.name,
        "method": main.method,
        "inputs": {name: _input_json(read) for name, read in found.inputs.items() if read.value is not None},
        "working": working.as_json(main, system, "" if main.kind == "" and found.unit == "-" else found.unit),
        "warnings": [*main.warnings, *found.notes],
        "source": working.source_text(main.source),
        "valid": main.valid,
        "uncertainty": _uncertainty(main, found.unit),
        "uncertainty_words": _uncertainty_words(main, found.unit),
        "others": {key: _other_json(figure) for key, figure in found.answer.others.items()},
        **({} if math.isfinite(main.value) else {"never": True}),
        **({"sentence": found.answer.sentence} if found.answer.sentence else {}),
    }


def _input_json(read: Read) -> dict[str, Any]:
    spec, value = read.spec, read.value
    found: dict[str, Any] = {"given": read.text}
    if isinstance(value, float) and spec.kind in units.KINDS:
        kind = units.KINDS[spec.kind]
        found |= {
            "value": in_listed_unit(spec, value),
            "unit": spec.unit or "-",
            "value_si": value,
            "unit_si": units.plain_unit(kind.si_unit),
            "understood": units.format_quantity(value, spec.kind),
        }
    else:
        found |= {"value": list(value) if isinstance(value, tuple) else value}
    return found | ({"is_default": True} if read.is_default else {})


def _other_json(figure: Estimate) -> dict[str, Any]:
    unit = units.plain_unit(units.unit_text(figure.kind)) if figure.kind else units.plain_unit(figure.unit)
    value = units.shown_value(figure.value, figure.kind) if figure.kind else figure.value
    return {
        "value": float(f"{value:.10g}"),
        "unit": unit,
        "value_si": figure.value,
        "unit_si": units.plain_unit(figure.unit),
        "name": figure.name,
        "formula": f"{figure.symbol} = {figure.formula}",
        "method": figure.method,
        "warnings": list(figure.warnings),
    }


_NO_SHARE = ("ph", "index", "temperature", "temperature_rise")
"""Kinds whose zero is a convention, or that are logarithms: a share of them says nothing."""


def _uncertainty(figure: Estimate, unit: str) -> dict[str, Any] | None:
    """Plus and minus in the unit of the answer, and as a share where that means something; None where nothing is lost."""
    spread = figure.spread()
    if not spread or not math.isfinite(figure.value):
        return None
    high = units.in_unit(figure.value + spread, figure.unit, unit)
    found = {
        "absolute": float(f"{abs(high - units.in_unit(figure.value, figure.unit, unit)):.4g}"),
        "unit": unit,
    }
    if figure.kind in _NO_SHARE or figure.uncertainty_abs is not None:
        return found
    return {"relative": figure.uncertainty_frac} | found


def _uncertainty_words(figure: Estimate, unit: str) -> str:
    found = _uncertainty(figure, unit)
    if found is None and figure.uncertainty_frac and figure.value == 0.0:
        return f"{100 * figure.uncertainty_frac:.2g} % of a figure that is zero here"
    if found is None:
        return "none of its own: definition, table value or arithmetic of what was given"
    mark = "" if unit == "-" else f" {'K' if unit == 'degC' else unit}"
    share = f" ({100 * found['relative']:.2g} %)" if "relative" in found else ""
    return f"about ±{found['absolute']:.2g}{mark}{share}"


_SI_OF_CODE: dict[str, tuple[str, float, float]] = {
    "strength_out_of_range": ("%", 100.0, 0.0), "temperature_out_of_range": ("degC", 1.0, -273.15),
    "freezing_point_not_known": ("%", 100.0, 0.0), "below_pure_water": ("uS/cm", 1e4, 0.0), "leak_above_feed": ("mmol/L", 1.0, 0.0),
    "blend_boils": ("degC", 1.0, -273.15), "water_boils": ("degC", 1.0, -273.15), "below_stoichiometric": ("%", 100.0, 0.0),
    "density_does_not_identify_strength": ("kg/m3", 1.0, 0.0),
}  # fmt: skip
"""(unit, factor, offset) of the numbers in refusals of the engineering floor, by code."""


def refusal_json(refusal: DomainError) -> dict[str, Any]:
    """What was wrong: a sentence, a code, the input, what was seen and what is allowed."""
    found: dict[str, Any] = {"code": refusal.code, "message": refusal.message}
    if refusal.field:
        found["input"] = refusal.field
    context = dict(refusal.context)
    shown = _SI_OF_CODE.get(refusal.code)
    if shown is not None and "unit" not in context:  # the calculation speaks SI, the person does not
        unit, factor, offset = shown
        for key in ("seen", "allowed_low", "allowed_high"):
            if isinstance(context.get(key), (int, float)):
                context[key] = float(f"{context[key] * factor + offset:.9g}")
        context["unit"] = unit
    plain = {
        key: value
        for key, value in context.items()
        if isinstance(value, (str, int, list)) or (isinstance(value, float) and math.isfinite(value))
    }
    return found | {key: value for key, value in plain.items() if value != "" and key != "why"}
