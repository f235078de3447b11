"""Conversion between any two units of the trade, and between mass, amount, equivalents and "as CaCO3" of an ion."""

from __future__ import annotations

import re

from regenplant import units
from regenplant.core.bench.inputs import species
from regenplant.core.bench.quantity import Group, InputSpec, Quantity
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ions import CALCIUM_CARBONATE_KG_PER_EQ, EQUIVALENT_WEIGHTS_KG_PER_EQ
from regenplant.core.errors import UnitNotUnderstood
from regenplant.working import CONVERSIONS

_AMOUNT = re.compile(r"^\s*([+\-−]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d{1,3})?)\s*(.*?)\s*$")
_AS_CARBONATE = re.compile(r"\s*(?:\bas\s+)?\(?(?:CaCO3|CaCO₃)\)?\s*", re.IGNORECASE)


def _basis(unit: str) -> tuple[str, bool]:
    """The unit without its basis, and whether it is "as CaCO3"."""
    plain = _AS_CARBONATE.sub(" ", unit).strip()
    return re.sub(r"\s*/\s*", "/", plain), plain != unit.strip()


def convert(amount: str, to: str, species: str | None = None) -> Estimate:
    """An amount in another unit. The value is in SI of the unit asked for.

    Raises: UnitNotUnderstood for text that is no amount, a unit that is not known, or units that do not fit each other.
    """
    match = _AMOUNT.match(amount)
    if match is None:
        raise UnitNotUnderstood(
            f"“{amount[:40]}” is no number with a unit. Write for example 6 lb/ft3.", field="amount"
        )
    number = float(match[1].replace(",", ".").replace("−", "-"))
    from_unit, from_carbonate = _basis(match[2])
    to_unit, to_carbonate = _basis(to)
    value, si_unit = units.measured(number, from_unit)
    target_si = units.si_unit_of(to_unit)
    charge = max((species or "").count("+"), (species or "").count("-"), 1)
    weight = EQUIVALENT_WEIGHTS_KG_PER_EQ.get(species or "", 0.0)
    first = _per_equivalent(si_unit, from_carbonate, weight, charge)
    second = _per_equivalent(target_si, to_carbonate, weight, charge)
    same = units.same_dimension(si_unit, target_si)
    if same and (from_carbonate == to_carbonate or not weight):
        factor, why = 1.0, "definition of the units"
    elif first and second:
        factor, why = second / first, "equivalent weights"
    elif value > 0.0 and {si_unit, target_si} == {"ohm*m", "S/m"}:
        return _turned(amount, number, from_unit, to, 1.0 / value, target_si)
    else:
        raise UnitNotUnderstood(
            f"{amount[:30]} cannot be shown in {to[:20]}.{_hint(amount, si_unit, target_si)}",
            code="wrong_unit",
            field="to",
        )
    result = value * factor
    name = f"{amount.strip()} in {to.strip()}"
    origin = units.measured(0.0, from_unit)[0], units.in_unit(0.0, target_si, to_unit)
    if any(origin):  # temperatures: not a factor alone
        inputs: tuple[Input, ...] = (Input("x", f"{amount.strip()} in SI", value, si_unit),)
        return Estimate("y", name, result, target_si, "", "x", inputs, why, "equivalents")
    total = units.in_unit(factor * units.measured(1.0, from_unit)[0], target_si, to_unit)
    inputs = (
        Input("x", f"number of {from_unit or 'one'}", number, "dimensionless"),
        Input("f", f"{to.strip()} in one {match[2].strip() or 'unit'}{f' of {species}' if species else ''}", total, "dimensionless"),
    )  # fmt: skip
    return Estimate("y", name, result, target_si, "", CONVERSIONS[0], inputs, why, "equivalents")


def _turned(amount: str, number: float, from_unit: str, to: str, value: float, si_unit: str) -> Estimate:
    """Resistivity as conductivity and the other way round: the exact reciprocal."""
    factor = units.in_unit(1.0 / units.measured(1.0, from_unit)[0], si_unit, to)
    inputs = (
        Input("x", f"number of {from_unit}", number, "dimensionless"),
        Input("f", f"{to.strip()} at one {from_unit}", factor, "dimensionless"),
    )
    return Estimate("y", f"{amount.strip()} in {to.strip()}", value, si_unit, "", CONVERSIONS[1], inputs, "conductivity is the reciprocal of resistivity", "equivalents")  # fmt: skip


def _hint(amount: str, si_unit: str, target_si: str) -> str:
    bases = ("kg/m^3", "eq/m^3", "mol/m^3", "kg", "eq", "mol")
    if amount.rstrip().endswith("degf"):
        return " For French degrees write °fH."
    if si_unit in bases and target_si in bases:
        return " For mass against equivalents or as CaCO3 name the species."
    return f" The one is in {units.plain_unit(si_unit)}, the other in {units.plain_unit(target_si)}."


def _per_equivalent(si_unit: str, is_carbonate: bool, weight: float, charge: int) -> float:
    """How many of this SI unit one equivalent is; 0 where it cannot be said."""
    if units.same_dimension(si_unit, "eq/m^3") or units.same_dimension(si_unit, "eq"):
        return 1.0
    if units.same_dimension(si_unit, "kg/m^3") or units.same_dimension(si_unit, "kg"):
        return CALCIUM_CARBONATE_KG_PER_EQ if is_carbonate else weight
    if weight and (units.same_dimension(si_unit, "mol/m^3") or units.same_dimension(si_unit, "mol")):
        return 1.0 / charge
    return 0.0


def quantities() -> tuple[Quantity, ...]:
    """The conversion, which needs the unit library."""
    of = species()
    optional = InputSpec("species", of.label, choices=of.choices, is_optional=True, aliases=of.aliases, help="For mass against equivalents or as CaCO3.")  # fmt: skip
    return (
        Quantity(
            "convert", "Convert units", "Any amount in another unit: lb/ft3, g/L, kgr/ft3, eq/L, gpm/ft2, m/h, °dH, psi/ft, °F ...",
            Group.CONVERSION,
            (
                InputSpec("amount", "amount with its unit", "text", aliases=("value", "from", "quantity", "x")),
                InputSpec("to", "unit wanted", "text", aliases=("unit", "into", "to_unit", "target")),
                optional,
            ),
            "", "", convert, {"amount": "6 lb/ft3", "to": "g/L"}, ("conversion", "unit_conversion", "conversions"), unit_input="to",
        ),
    )  # fmt: skip
