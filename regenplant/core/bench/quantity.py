"""What the bench calculator can work out, as data: quantities, what goes in, what comes out.

A ``Quantity`` ties a function of the engineering floor to names that people type. All numbers are coherent SI; reading
"5 degC" and showing "m/h" is the work of ``regenplant.bench``, which stands above the unit library.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from regenplant.core.engineering.estimate import Estimate


class Group(StrEnum):
    """Quantities that belong together on the page; the order is the order shown."""

    DOSE = "dose and dilution"
    STRENGTH = "strength and density"
    HEAT = "heat"
    BACKWASH = "backwash and expansion"
    SETTLING = "settling and separation"
    PRESSURE = "pressure drop"
    CLEAN_WATER = "compensation and pure water"
    WATERS = "waters and bed effluents"
    GYPSUM = "gypsum and scale"
    NEUTRALIZATION = "neutralization"
    RINSE = "rinse"
    CAPACITY = "capacity and leakage"
    CONVERSION = "conversions"


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several words an input may be; ``spellings`` are others that people type for it."""

    value: str
    label: str
    spellings: tuple[str, ...] = ()


SUFFIXES: Mapping[str, str] = {
    "strength": "frac", "fraction": "frac", "temperature": "kelvin", "temperature_rise": "kelvin", "resin_volume": "m3",
    "liquid_volume": "m3", "flow": "m3_per_s", "flow_bv_per_h": "bv_per_h", "velocity": "m_per_s",
    "air_flow": "m3_per_s", "air_velocity": "m_per_s", "air_volume": "m3", "mass": "kg",
    "dose": "kg_per_m3", "density": "kg_per_m3", "concentration": "kg_per_m3", "hardness": "kg_per_m3",
    "capacity": "eq_per_m3", "normality": "eq_per_m3", "amount_concentration": "mol_per_m3",
    "conductivity": "siemens_per_m", "resistivity": "ohm_m", "length": "m", "bead_diameter": "m", "pressure": "pascal",
    "duration": "s", "power": "watt", "energy": "joule", "equivalents": "eq", "amount": "mol", "bed_volumes": "bv",
    "density_slope": "kg_per_m3_k", "viscosity": "pascal_s", "molar_conductivity": "s_m2_per_mol", "molality": "mol_per_kg",
}  # fmt: skip
"""How the name of a bare float of each kind ends (none: a plain number)."""


@dataclass(frozen=True, slots=True)
class InputSpec:
    """One input of a quantity.

    ``unit`` is what a bare number is taken in. ``low`` and ``high`` are in SI. ``default`` is a text as a person would type
    it; None with ``is_optional`` means it may be left out, None without means it must be given. ``choices`` makes it a
    word instead of a number; kind "text" is free text, "series" a list of numbers. ``species`` names the ion, so that
    "mg/L", "meq/L" and "mg/L as CaCO3" can be told apart for it. ``ranges`` are narrower ranges in SI by the value of
    another input, such as the chemical; the calculation itself holds them.
    """

    name: str
    label: str
    kind: str = ""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    default: str | None = None
    is_optional: bool = False
    choices: tuple[Choice, ...] = ()
    help: str = ""
    aliases: tuple[str, ...] = ()
    species: str = ""
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def argument(self) -> str:
        """Name of the function's parameter: the input's with the unit of its kind."""
        suffix = SUFFIXES.get(self.kind, "")
        return f"{self.name}_{suffix}" if suffix else self.name

    @property
    def is_needed(self) -> bool:
        return self.default is None and not self.is_optional


@dataclass(frozen=True, slots=True)
class Answer:
    """What a quantity gives when there is more than one number: the figure asked for, others of the same calculation."""

    main: Estimate
    others: Mapping[str, Estimate] = field(default_factory=dict)
    sentence: str = ""


Function = Callable[..., Estimate | Answer]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing the bench works out. ``unit`` is that of the answer, ``kind`` its quantity kind."""

    key: str
    title: str
    what: str
    group: Group
    inputs: tuple[InputSpec, ...]
    kind: str
    unit: str
    function: Function
    example: Mapping[str, str]
    aliases: tuple[str, ...] = ()
    range_words: str = ""
    unit_input: str = ""
    """Name of the input that says the unit of the answer, for conversions."""
    is_equilibrium: bool = False
    """Whether it solves a chemical equilibrium with a library, which takes longer."""
    one_of: tuple[tuple[str, ...], ...] = ()
    """Inputs of which at least one of each group is needed."""
    see: tuple[str, ...] = ()
    """Keys of quantities that are easily taken for this one."""

    def input(self, name: str) -> InputSpec:
        """The input of this name. KeyError for an unknown one."""
        return next(spec for spec in self.inputs if spec.name == name)

    def work_out(self, **values: object) -> Answer:
        """The answer for inputs in SI by argument name. Raises OutOfRange and other refusals of the engineering floor."""
        found = self.function(**values)
        return found if isinstance(found, Answer) else Answer(found)
