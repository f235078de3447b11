"""Numbers of the bench as people type them: "5 degC", "16 gpm/ft2", "120 mg/L as CaCO3", a bare number in the stated unit.

Concentrations of an ion are taken as mass, amount, equivalents, or as CaCO3, whichever is written.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from regenplant import units
from regenplant.bench.names import BenchRefused, choice_meant, input_meant
from regenplant.core.bench.quantity import InputSpec, Quantity
from regenplant.core.engineering.ions import CALCIUM_CARBONATE_KG_PER_EQ, EQUIVALENT_WEIGHTS_KG_PER_EQ
from regenplant.core.errors import DomainError, OutOfRange, UnitNotUnderstood

_BARE = re.compile(r"^\s*[+\-−]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d{1,3})?\s*$")
_LONGEST_TEXT = 100
_LONGEST_SERIES = 2000


@dataclass(frozen=True, slots=True)
class Read:
    """One input as it was taken: the text, its value in SI (or the word), and whether it is the default."""

    spec: InputSpec
    text: str
    value: float | str | tuple[float, ...] | None
    is_default: bool = False
    note: str = ""


def read_inputs(quantity: Quantity, given: Mapping[str, object], system: str = "metric") -> dict[str, Read]:
    """Every input of a quantity by name. Raises BenchRefused for the first that cannot be taken, or all that are missing."""
    typed: dict[str, tuple[object, str]] = {}
    for name, raw in given.items():
        spec, unit = input_meant(quantity, str(name))
        if spec.name in typed:
            raise BenchRefused(f"{spec.name} is given twice.", code="given_twice", field=spec.name)
        typed[spec.name] = (raw, unit)
    _require_all(quantity, {name for name, (raw, _) in typed.items() if not _is_nothing(raw)})
    return {
        spec.name: read_one(spec, *typed.get(spec.name, (None, "")), system=system)
        for spec in quantity.inputs
    }


def _is_nothing(raw: object) -> bool:
    return raw is None or (isinstance(raw, str) and not raw.strip())


def _require_all(quantity: Quantity, given: set[str]) -> None:
    """Nothing, where all that is needed is given. Raises BenchRefused naming everything that is missing."""
    missing = [spec for spec in quantity.inputs if spec.is_needed and spec.name not in given]
    if len(missing) == 1:
        raise _missing(missing[0])
    if missing:
        named = ", ".join(f"{spec.name} (for example {example_of(spec)})" for spec in missing)
        raise BenchRefused(
            f"{len(missing)} inputs are missing: {named}.", code="missing", field=missing[0].name,
            missing=[spec.name for spec in missing],
        )  # fmt: skip
    for group in quantity.one_of:
        if not given.intersection(group):
            raise BenchRefused(
                f"One of these is needed: {', '.join(group)}.",
                code="missing",
                field=group[0],
                missing=list(group),
            )


def _missing(spec: InputSpec) -> BenchRefused:
    return BenchRefused(
        f"{spec.label} is needed: give {spec.name}, for example {example_of(spec)}.",
        code="missing",
        field=spec.name,
        missing=[spec.name],
    )


def read_one(spec: InputSpec, raw: object, unit: str = "", *, system: str = "metric") -> Read:
    """One input. Raises BenchRefused naming the input, what was seen and what is allowed."""
    is_missing = _is_nothing(raw)
    if is_missing and spec.default is None:
        if spec.is_optional:
            return Read(spec, "", None, True)
        raise _missing(spec)
    raw = spec.default if is_missing else raw
    if spec.choices:
        value = choice_meant(spec, raw)
        return Read(spec, str(raw).strip(), value, is_missing)
    if spec.kind == "text":
        return Read(spec, str(raw).strip()[:_LONGEST_TEXT], str(raw).strip()[:_LONGEST_TEXT], is_missing)
    if spec.kind.startswith("series:"):
        return _series(spec, raw, system)
    found = _number(spec, raw, unit, "metric" if is_missing else system)
    return Read(spec, found.text, found.value, is_missing, found.note)


def example_of(spec: InputSpec) -> str:
    """What a person might type."""
    if spec.default is not None:
        return spec.default
    if spec.choices:
        return spec.choices[0].value
    kind = units.KINDS.get(spec.kind)
    return kind.example.split(" or ")[0] if kind else ""


def range_of(spec: InputSpec) -> tuple[float, float] | None:
    """The allowed range in the unit of the list, None where none is stated."""
    kind = units.KINDS.get(spec.kind.removeprefix("series:"))
    if kind is None:
        return None
    low = kind.low if spec.low is None else spec.low
    high = kind.high if spec.high is None else spec.high
    return in_listed_unit(spec, low), in_listed_unit(spec, high)


def range_words(spec: InputSpec) -> str:
    """ "0 to 100 degC", in the unit of the list; "" where no range is stated."""
    found = range_of(spec)
    if spec.choices or found is None:
        return ""
    return f"{found[0]:.7g} to {found[1]:.7g} {spec.unit.removeprefix('-')}".strip()


def allowed_words(spec: InputSpec, system: str = "metric") -> str:
    """The allowed range in words, in both unit systems where they differ; "" for none."""
    if spec.choices or spec.low is None or spec.high is None or spec.kind not in units.KINDS:
        return ""
    if units.plain_unit(units.unit_text(spec.kind)) != (spec.unit or "-"):
        return range_words(spec)
    return f"{units.twin(spec.low, spec.kind, system)} to {units.twin(spec.high, spec.kind, system)}"


# --- numbers ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Number:
    text: str
    value: float
    note: str = ""


def bare_unit(spec: InputSpec, system: str = "metric") -> str:
    """The unit a number without one is taken in."""
    kind = units.KINDS[spec.kind]
    if system == "us" and kind.us != kind.metric:
        return units.unit_text(spec.kind, "us")
    return spec.unit


def in_listed_unit(spec: InputSpec, value: float) -> float:
    """A value in SI in the unit of the list, also where that counts on another basis (mg/L of an ion held in mol/m³)."""
    kind = units.KINDS[spec.kind.removeprefix("series:")]
    own = spec.unit or "-"
    listed = units.si_unit_of(own)
    if units.same_dimension(kind.si_unit, listed):
        return float(f"{units.in_unit(value, kind.si_unit, own):.9g}")
    per_mole = EQUIVALENT_WEIGHTS_KG_PER_EQ[spec.species] * charge_of(spec.species)
    return float(f"{units.in_unit(value * per_mole, listed, own):.9g}")


def _number(spec: InputSpec, raw: object, unit: str, system: str) -> _Number:
    if isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
        raise _refused(spec, str(raw), "A number is needed, or text with a unit.")
    if isinstance(raw, (int, float)):
        if not math.isfinite(raw):
            raise _refused(spec, str(raw), "A finite number is needed.")
        raw = repr(float(raw))
    text = raw.strip()
    note = ""
    if _BARE.match(text):
        taken = unit or bare_unit(spec, system)
        note = _doubtful(spec, text, unit)
        text = f"{text} {taken}" if taken != "-" else f"{text} 1"
    try:
        value = _in_si(spec, text)
    except OutOfRange as refusal:
        raise _refused(spec, text.removesuffix(" 1"), _why_outside(spec, text), refusal.code) from refusal
    except DomainError as refusal:
        raise _refused(spec, text, refusal.message, refusal.code) from refusal
    shown = text.removesuffix(" 1")
    slack = 1e-9 * max(abs(value), 1e-12)
    if (spec.low is not None and value < spec.low - slack) or (
        spec.high is not None and value > spec.high + slack
    ):
        raise _refused(spec, shown, _why_outside(spec, text), "out_of_range", in_listed_unit(spec, value))
    return _Number(shown, value, note)


def _why_outside(spec: InputSpec, text: str) -> str:
    bare = _BARE.match(text.removesuffix("kg/m3"))
    if spec.kind == "density" and bare and 0.5 < float(bare[0].replace(",", ".").replace("−", "-")) < 3.0:
        number = bare[0].strip()
        return f"kg/m3 was taken; for a specific gravity write {number} g/mL."
    return "that is outside what is allowed."


def _doubtful(spec: InputSpec, text: str, unit: str) -> str:
    """A bare strength below one is read as percent, as stated; somebody may have meant a fraction."""
    if spec.kind not in ("strength", "fraction") or unit or spec.unit != "%":
        return ""
    value = float(text.replace(",", ".").replace("−", "-"))
    if not 0.0 < abs(value) < 1.0:
        return ""
    return (
        f"{spec.name} {text} was read as {text} %; for the fraction write {text} frac or {value * 100:g} %."
    )


def _refused(
    spec: InputSpec, seen: str, why: str, code: str = "not_understood", number: float | None = None
) -> BenchRefused:
    allowed = allowed_words(spec)
    words = f" Allowed is {allowed}." if allowed else ""
    edges = range_of(spec) if allowed else None
    numbers = {"seen_number": number} if number is not None else {}
    if edges is not None:
        numbers |= {"allowed_low": edges[0], "allowed_high": edges[1]}
    return BenchRefused(
        f"{spec.name} “{seen[:40]}”: {why}{words}",
        code=code,
        field=spec.name,
        seen=seen[:60],
        allowed=allowed,
        why=f"{why[:1].upper()}{why[1:]}{words}",
        **numbers,
        **({"unit": spec.unit or "-"} if edges is not None else {}),
    )


_ZERO = re.compile(r"^[+\-−]?(?:0+[.,]?0*|[.,]0+)(?![\d.,])")


def _in_si(spec: InputSpec, text: str) -> float:
    try:
        return units.understand(text, spec.kind).value
    except OutOfRange:
        if spec.low == 0.0 and _ZERO.match(text):
            return 0.0  # no such quantity is ever measured, but a floor of nothing may be asked about
        raise
    except UnitNotUnderstood:
        value = _by_basis(spec, text)
        if value is None:
            raise
        return value


# --- bases ------------------------------------------------------------------------------------------------------
_NUMBER = re.compile(r"^\s*([+\-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d{1,3})?)\s*(.*?)\s*$")
_IDLE = re.compile(
    r"\(?\b(?:as\s+)?100\s*(?:%|percent)\)?|\b(?:of\s+)?(?:resin|bed|solution|water)\b|\b(?:per|of|in)\b(?=\s*$)", re.IGNORECASE
)  # fmt: skip
_SUBSTANCE = re.compile(
    r"\b(?:as\s+)?(CaCO3|CaCO₃|calcium carbonate|CaO|SiO2|SiO₂|Si|CO2|CO₂|HCO3-?|NO3-?|N|S|C|SO4(?:--|2-)?|Na\+?|Cl-?|Ca(?:\+\+|2\+)?|Mg(?:\+\+|2\+)?|K\+?|NH4\+?"
    r"|HCl|NaOH|NaCl|H2SO4|H₂SO₄|Na2CO3|NH3)(?![\w])(?=\s|/|$|\))"
)  # fmt: skip
_AS = re.compile(r"\bas\b", re.IGNORECASE)
_PER_EQ = {
    "caco3": CALCIUM_CARBONATE_KG_PER_EQ,
    "calcium carbonate": CALCIUM_CARBONATE_KG_PER_EQ,
    "cao": 0.0280385,
}
_PER_MOL = {"si": 0.028085, "n": 0.014007, "s": 0.03206, "c": 0.012011, "sio2": 0.060084, "co2": 0.044010}
"""Bases that are not the ion itself [kg/mol]."""
_DIMENSIONS = (("concentration", "mass"), ("amount_concentration", "mol"), ("normality", "eq"))


def charge_of(species: str) -> int:
    """Equivalents per mole of an ion; 1 for what counts one equivalent per mole."""
    return max(
        species.count("+"), species.count("-"), 2 if species in ("CaCO3", "H2SO4", "Na2CO3", "Ca(OH)2") else 1
    )


def _by_basis(spec: InputSpec, text: str) -> float | None:
    """The value of a concentration written in another basis than the input is kept in; None where that means nothing."""
    match = _NUMBER.match(text.translate(str.maketrans("−₂₃₄", "-234")))
    if match is None:
        return None
    unit_text = _IDLE.sub(" ", match[2])
    named = _SUBSTANCE.search(unit_text)
    basis = named[1].lower().rstrip("+-") if named else ""
    unit_text = _AS.sub(" ", _SUBSTANCE.sub(" ", unit_text)) if named else unit_text
    unit_text = re.sub(r"\(\s*\)", " ", re.sub(r"\s*/\s*", "/", unit_text)).strip()
    plain = f"{match[1]} {unit_text}".strip()
    if spec.kind not in ("concentration", "amount_concentration", "normality", "hardness", "capacity"):
        return units.understand(plain, spec.kind).value if plain != text.strip() else None
    found = _measured(plain)
    if found is None:
        return units.understand(plain, spec.kind).value if plain != text.strip() else None
    value, dimension = found
    return _converted(spec, value, dimension, basis)


def _measured(plain: str) -> tuple[float, str] | None:
    for kind, dimension in _DIMENSIONS:
        try:
            return units.understand(plain, kind).value, dimension
        except UnitNotUnderstood:
            continue
    return None


def _converted(spec: InputSpec, value: float, dimension: str, basis: str) -> float | None:
    wanted = {"concentration": "mass", "hardness": "mass", "amount_concentration": "mol"}.get(spec.kind, "eq")
    own = "CaCO3" if spec.kind in ("hardness", "capacity") else spec.species
    if not own:
        return value if dimension == wanted and not basis else None
    charge = charge_of(own)
    weight = EQUIVALENT_WEIGHTS_KG_PER_EQ[own]
    if dimension == "mass":
        if basis in _PER_EQ:
            equivalents = value / _PER_EQ[basis]
        elif (basis in _PER_MOL and basis not in own.lower().rstrip("+-")) or basis in ("n", "s", "si", "c"):
            equivalents = value / _PER_MOL[basis] * charge
        else:
            equivalents = value / weight
    else:
        equivalents = value * charge if dimension == "mol" else value
    return {"mass": equivalents * weight, "mol": equivalents / charge, "eq": equivalents}[wanted]


# --- series -----------------------------------------------------------------------------------------------------
def _series(spec: InputSpec, raw: object, system: str) -> Read:
    """A list of numbers: JSON list, or text parted by commas, semicolons or spaces; the unit may stand at the end."""
    kind = spec.kind.removeprefix("series:")
    one = InputSpec(spec.name, spec.label, kind, spec.unit, spec.low, spec.high, species=spec.species)
    if isinstance(raw, (list, tuple)):
        parts: list[object] = list(raw)
    else:
        text = str(raw).strip().strip("[]")
        tail = re.search(r"(?<=[\d.])\s*([^\d\s;,.+\-][^\d;,]*(?:\d?[^\d;,]*)?)$", text)
        unit = tail[1].strip() if tail else ""
        body = text[: tail.start()] if tail else text
        parts = [f"{part} {unit}".strip() for part in re.split(r"[;,\s]+", body.strip()) if part]
    if not 1 <= len(parts) <= _LONGEST_SERIES:
        raise _refused(spec, str(len(parts)), f"1 to {_LONGEST_SERIES} numbers are taken.")
    values = tuple(_number(one, part, "", system).value for part in parts)
    return Read(spec, f"{len(values)} values", values)
