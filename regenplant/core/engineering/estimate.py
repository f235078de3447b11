"""The answer of any calculation: a number that can show its working.

Every public function of ``core.engineering`` that a plan, a screen or a paper shows returns an
``Estimate``. It holds the value in coherent SI, the formula in standard notation, the numbers that went
in, the method, where the method comes from and where it holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Input:
    """One number that went into a formula.

    Parameters
    ----------
    symbol : str
        The symbol as it stands in the formula, for example ``V_r``.
    name : str
        What it is, in words, with its basis ("resin volume, settled, Na form").
    value : float
        The value in ``unit``.
    unit : str
        SI unit in the spelling the unit module reads ("m^3", "kg/m^3", "dimensionless").
    kind : str
        The quantity kind (``regenplant.units.KINDS``) used to show it in a person's own units; "" for a
        plain number.
    """

    symbol: str
    name: str
    value: float
    unit: str
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A calculated number with its working.

    ``formula`` is the right-hand side in symbols ("q · V_r / w"); ``inputs`` holds every symbol in it,
    in reading order. ``source`` is a key of ``core.engineering.sources.SOURCES``. ``valid`` says in words
    where the method holds. ``warnings`` are sentences for people. ``uncertainty_frac`` is the honest
    relative uncertainty of the method, None where the result is exact arithmetic. ``uncertainty_abs`` is the same in
    ``unit``, for a figure of which a share says nothing: a temperature, a pH, an index, the difference of two numbers.
    """

    symbol: str
    name: str
    value: float
    unit: str
    kind: str
    formula: str
    inputs: tuple[Input, ...]
    method: str
    source: str
    valid: str = ""
    warnings: tuple[str, ...] = ()
    uncertainty_frac: float | None = None
    uncertainty_abs: float | None = None

    def spread(self) -> float | None:
        """The uncertainty in ``unit``, None where the result is exact arithmetic."""
        if self.uncertainty_abs is not None:
            return self.uncertainty_abs
        return None if self.uncertainty_frac is None else abs(self.uncertainty_frac * self.value)

    def named(self, symbol: str, name: str) -> Estimate:
        """The same estimate under another symbol and name."""
        return replace(self, symbol=symbol, name=name)

    def as_input(self) -> Input:
        """This result as an input of the next formula."""
        return Input(self.symbol, self.name, self.value, self.unit, self.kind)
