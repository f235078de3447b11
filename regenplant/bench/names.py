"""Which input a name stands for, and which of several words is meant."""

from __future__ import annotations

import difflib
import re

from regenplant.core.bench.quantity import Choice, InputSpec, Quantity
from regenplant.core.bench.registry import known_names, plain_name, quantities, quantity_named
from regenplant.core.errors import DomainError


class BenchRefused(DomainError):
    """An input or a name that cannot be taken; ``field`` is the input, ``context`` holds what was seen and allowed."""

    code = "bench_refused"


def quantity_meant(name: str) -> Quantity:
    """The quantity of this name. Raises BenchRefused with the nearest names."""
    found = quantity_named(name)
    if found is not None:
        return found
    near = difflib.get_close_matches(plain_name(name), known_names(), 4, 0.5)
    keys = list(dict.fromkeys(known.key for text in near if (known := quantity_named(text))))
    hint = f" Near are: {', '.join(keys)}." if keys else f" {len(quantities())} are listed by --list."
    raise BenchRefused(
        f"“{name[:60]}” is no quantity of the bench.{hint}", code="unknown_quantity", near=keys
    )


_PER = re.compile(r"_per_")
_ASCII_UNITS = {"percent": "%", "pct": "%", "frac": "frac", "fraction": "frac", "wt": "%", "ratio": "frac", "c": "degC", "degc": "degC", "f": "degF", "degf": "degF", "k": "kelvin"}  # fmt: skip


def input_meant(quantity: Quantity, name: str) -> tuple[InputSpec, str]:
    """The input of this name and the unit its ending names ("" for none): "temperature_C", "dose_g_per_L".

    Raises: BenchRefused with the inputs there are.
    """
    wanted = plain_name(name)
    known = _input_names(quantity)
    if wanted in known:
        return known[wanted], ""
    words = wanted.split("_")
    for cut in range(len(words) - 1, 0, -1):
        spec = known.get("_".join(words[:cut]))
        if spec is not None and spec.kind and (unit := _unit_of("_".join(words[cut:]))):
            return spec, unit
    names = ", ".join(spec.name for spec in quantity.inputs)
    near = difflib.get_close_matches(wanted, list(known), 1, 0.7)
    meant = known[near[0]].name if near else _OTHERWISE.get(wanted, "")
    hint = f" Is {meant} meant?" if meant in {spec.name for spec in quantity.inputs} else ""
    raise BenchRefused(
        f"{quantity.key} has no input “{name[:60]}”; it has {names}.{hint}",
        code="unknown_input",
        field=name[:60],
        inputs=[spec.name for spec in quantity.inputs],
    )


_OTHERWISE = {"co2": "total_inorganic_carbon", "carbon_dioxide": "total_inorganic_carbon", "free_co2": "total_inorganic_carbon"}  # fmt: skip
"""What is asked under another name, and not the same."""


def _unit_of(ending: str) -> str:
    if ending in _ASCII_UNITS:
        return _ASCII_UNITS[ending]
    text = _PER.sub("/", ending)
    return text if "/" in text else text.replace("_", "/")


_NAMES: dict[str, dict[str, InputSpec]] = {}


def _input_names(quantity: Quantity) -> dict[str, InputSpec]:
    found = _NAMES.get(quantity.key)
    if found is None:
        found = {}
        for spec in quantity.inputs:
            for name in spec.aliases:
                found.setdefault(plain_name(name), spec)
        found.update({plain_name(spec.name): spec for spec in quantity.inputs})
        found.update({plain_name(spec.argument): spec for spec in quantity.inputs if not spec.kind})
        _NAMES[quantity.key] = found
    return found


# --- words ------------------------------------------------------------------------------------------------------
_LEVEL = str.maketrans("₀₁₂₃₄₅₆₇₈₉⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻−–", "01234567890123456789+---")
_CHARGE = re.compile(r"(?:[+\-]+\d?|\d[+\-])$")


def choice_meant(spec: InputSpec, raw: object) -> str:
    """The value of the choice a person means. Raises BenchRefused with the choices."""
    text = str(raw).strip()
    exact = {_signed(word): choice.value for choice in spec.choices for word in _words(choice)}
    bare: dict[str, str] = {}
    for choice in spec.choices:
        for word in _words(choice):
            bare.setdefault(_bare(word), choice.value)
    found = exact.get(_signed(text)) or (bare.get(_bare(text)) if _bare(text) else None)
    if found is not None:
        return found
    allowed = [choice.value for choice in spec.choices]
    raise BenchRefused(
        f"“{text[:40]}” is no choice for {spec.label}; it may be {', '.join(allowed)}.",
        code="unknown_choice",
        field=spec.name,
        seen=text[:40],
        choices=allowed,
    )


def _words(choice: Choice) -> tuple[str, ...]:
    return (*choice.spellings, choice.label, choice.value)


def _signed(text: str) -> str:
    return re.sub(r"\s+", "", text.translate(_LEVEL).lower())


def _bare(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", _CHARGE.sub("", _signed(text)))
