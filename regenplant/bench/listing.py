"""Everything the bench works out, for a program to read and for people at a prompt."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from regenplant import units
from regenplant.bench.reading import in_listed_unit, range_of, range_words
from regenplant.core.bench.quantity import Group, InputSpec, Quantity
from regenplant.core.bench.registry import quantities


def as_json(found: Quantity) -> dict[str, Any]:
    """One quantity with its inputs, units, ranges, defaults and an example."""
    return {
        "quantity": found.key,
        "title": found.title,
        "what": found.what,
        "group": found.group.value,
        "unit": found.unit or "the unit asked for",
        "aliases": list(found.aliases),
        "equilibrium_solve": found.is_equilibrium,
        "inputs": [_input(_fitting(spec, found)) for spec in found.inputs],
        "one_of": [list(group) for group in found.one_of],
        "see_also": list(found.see),
        "example": dict(found.example),
    }


def _fitting(spec: InputSpec, quantity: Quantity) -> InputSpec:
    """The input with the ranges of those chemicals alone that the quantity takes."""
    if not spec.ranges:
        return spec
    taken = {choice.value for other in quantity.inputs for choice in other.choices}
    return replace(spec, ranges={key: edges for key, edges in spec.ranges.items() if key in taken})


def _input(spec: InputSpec) -> dict[str, Any]:
    found: dict[str, Any] = {"name": spec.name, "label": spec.label, "required": spec.is_needed}
    if spec.choices:
        found["choices"] = [choice.value for choice in spec.choices]
        found["choice_labels"] = {choice.value: choice.label for choice in spec.choices}
    else:
        found["kind"] = spec.kind
        found["unit"] = spec.unit or "-"
        found |= _range(spec)
    if spec.default is not None:
        found["default"] = spec.default
    if spec.help:
        found["help"] = spec.help
    if spec.species:
        found["species"] = spec.species
    return found | {"aliases": list(spec.aliases)}


def _range(spec: InputSpec) -> dict[str, Any]:
    """Range in the listed unit and in SI, and narrower ones by chemical where the tables end sooner."""
    kind = units.KINDS.get(spec.kind.removeprefix("series:"))
    edges = range_of(spec)
    if kind is None or edges is None:
        return {}
    found: dict[str, Any] = {
        "low": edges[0],
        "high": edges[1],
        "low_si": kind.low if spec.low is None else spec.low,
        "high_si": kind.high if spec.high is None else spec.high,
        "unit_si": units.plain_unit(kind.si_unit),
    }
    if spec.ranges:
        found["ranges"] = {
            key: [in_listed_unit(spec, low), in_listed_unit(spec, high)]
            for key, (low, high) in spec.ranges.items()
        }
    return found


def everything() -> dict[str, Any]:
    """The whole list."""
    return {"quantities": [as_json(found) for found in quantities().values()]}


def by_group() -> dict[Group, list[Quantity]]:
    """Quantities under their groups, in order; groups without any are left out."""
    found: dict[Group, list[Quantity]] = {}
    for quantity in quantities().values():
        found.setdefault(quantity.group, []).append(quantity)
    return found


def as_table() -> str:
    """The list for a person at a prompt: every quantity with its inputs, units and ranges."""
    lines = [
        "The bench works out these quantities. A number without a unit is taken in the unit shown; with a unit, any that fits.",
        "  manage.py bench QUANTITY name=value ...     one answer as JSON      (--unit UNIT, --text for the working in words)",
        "  manage.py bench --jsonl FILE                one answer for each line {\"id\", \"quantity\", \"inputs\": {...}}",
        "  manage.py bench --list QUANTITY             one quantity with all names, ranges and an example, as JSON",
        "  manage.py bench --list --json               this list for programs, with all other names that are understood",
    ]  # fmt: skip
    for group, members in by_group().items():
        lines += ["", group.value.upper()]
        shown: list[Quantity] = []
        for quantity in members:
            unit = f" [{quantity.unit}]" if quantity.unit else ""
            lines.append(f"  {quantity.key}{unit}: {quantity.what}")
            lines += [f"      {line}" for line in _input_lines(quantity, shown)]
            lines += [f"      one of {' or '.join(names)} is needed" for names in quantity.one_of]
            if quantity.see:
                lines.append(f"      see also {', '.join(quantity.see)}")
            shown.append(quantity)
            example = " ".join(f'{name}="{value}"' if " " in value else f"{name}={value}" for name, value in quantity.example.items())  # fmt: skip
            lines.append(f"      e.g. {quantity.key} {example}")
    return "\n".join(lines)


_MANY = 6


def _input_lines(quantity: Quantity, shown: list[Quantity]) -> list[str]:
    """A line for each input; many that an earlier quantity of the group has as well are named once, by that one."""
    for other in shown:
        known = {spec.name: spec for spec in other.inputs}
        same = [spec for spec in quantity.inputs if known.get(spec.name) == spec]
        if len(same) >= _MANY:
            rest = [_line(_fitting(spec, quantity)) for spec in quantity.inputs if spec not in same]
            words = "the inputs" if len(same) == len(other.inputs) else f"{len(same)} inputs"
            names = "" if len(same) == len(other.inputs) else f": {', '.join(spec.name for spec in same)}"
            return [f"{words} of {other.key}{names}", *rest]
    return [_line(_fitting(spec, quantity)) for spec in quantity.inputs]


def _line(spec: InputSpec) -> str:
    if spec.choices:
        values = ", ".join(choice.value for choice in spec.choices)
        what = f"{spec.name}: {spec.label}; one of {values}"
    else:
        unit = f" [{spec.unit}]" if spec.unit not in ("", "-") else ""
        allowed = range_words(spec)
        what = f"{spec.name}{unit}: {spec.label}" + (f"; {allowed}" if allowed else "")
    if spec.ranges:
        narrower = (f"{key} {in_listed_unit(spec, low):g} to {in_listed_unit(spec, high):g}" for key, (low, high) in spec.ranges.items())  # fmt: skip
        what += f" ({', '.join(narrower)})"
    if spec.default is not None:
        what += f"; default {spec.default}"
    elif spec.is_optional:
        what += "; may be left out"
    return f"{what}; also {', '.join(spec.aliases[:3])}" if spec.aliases else what
