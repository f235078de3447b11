"""Names, docstrings and units of the engineering floor agree: ``_m3`` is [m^3] wherever it stands.

Every public function of ``core.engineering`` says what it takes and gives in a ``Parameters`` section; a parameter
whose name ends in a unit must carry that unit in brackets, and every parameter must be described.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import regenplant.core.engineering

FOLDER = Path(regenplant.core.engineering.__file__).parent

UNIT_BY_SUFFIX = {
    "_kg_per_m3": "kg/m^3", "_mol_per_kg": "mol/kg", "_kg_per_eq": "kg/eq", "_kg_per_s": "kg/s", "_eq_per_m3": "eq/m^3", "_mol_per_m3": "mol/m^3",
    "_m3_per_s": "m^3/s", "_m_per_s": "m/s", "_bv_per_h": "1/h", "_siemens_per_m": "S/m", "_pascal_per_m": "Pa/m",
    "_j_per_m3": "J/m^3", "_j_per_mol": "J/mol", "_j_per_kg_k": "J/(kg K)", "_pascal_s": "Pa s", "_ohm_m": "ohm m", "_m2": "m^2", "_m3": "m^3",
    "_kelvin": "K", "_pascal": "Pa", "_watt": "W", "_joule": "J", "_frac": "-", "_bv": "-", "_kg": "kg", "_eq": "eq", "_s": "s", "_m": "m",
}  # fmt: skip
"""Longest first, so that ``_kg_per_m3`` is not taken for ``_m3``."""


def _functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted(FOLDER.glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield path.name, node


PARAMETER = re.compile(r"^ {4}(\w+) : (.+?)\n((?: {8}.+\n?)+)", re.MULTILINE)


def described(node: ast.FunctionDef) -> dict[str, str]:
    """Text by name of what the Parameters and Returns sections describe."""
    docstring = ast.get_docstring(node, clean=True) or ""
    indented = "".join(f"    {line}\n" for line in docstring.splitlines())
    return {name: " ".join(text.split()) for name, _, text in PARAMETER.findall(indented)}


def expected_unit(name: str) -> str | None:
    return next((unit for suffix, unit in UNIT_BY_SUFFIX.items() if name.endswith(suffix)), None)


CALCULATIONS = [
    (file, node)
    for file, node in _functions()
    if file not in ("libraries.py", "sources.py", "ranges.py", "interpolation.py", "substances.py")
]


@pytest.mark.parametrize(
    ("file", "node"), CALCULATIONS, ids=[f"{file}:{node.name}" for file, node in CALCULATIONS]
)
def test_every_parameter_is_described_and_carries_the_unit_of_its_name(
    file: str, node: ast.FunctionDef
) -> None:
    text = described(node)
    arguments = [argument.arg for argument in (*node.args.args, *node.args.kwonlyargs)]
    missing = [name for name in arguments if name not in text]
    assert not missing, f"{file}: {node.name} does not describe {missing}"
    for name in arguments:
        unit = expected_unit(name)
        if unit is not None:
            assert f"[{unit}]" in text[name], (
                f"{file}: {node.name}: {name} must say [{unit}], it says {text[name]!r}"
            )


@pytest.mark.parametrize(
    ("file", "node"), CALCULATIONS, ids=[f"{file}:{node.name}" for file, node in CALCULATIONS]
)
def test_a_function_named_after_a_unit_returns_that_unit(file: str, node: ast.FunctionDef) -> None:
    unit = expected_unit(node.name)
    if "_from_" in node.name:  # there the last unit is the one that goes in
        unit = expected_unit("_" + node.name.split("_from_")[0])
    if unit is None or isinstance(node.returns, ast.Subscript):
        return
    returned = {
        name: text for name, text in described(node).items() if name not in {a.arg for a in node.args.args}
    }
    assert any(f"[{unit}]" in text for text in returned.values()), (
        f"{file}: {node.name} returns {returned}, expected [{unit}]"
    )


def test_the_check_finds_a_planted_fault() -> None:
    planted = ast.parse(
        'def f(volume_m3, time_s):\n    """Test.\n\n    Parameters\n    ----------\n    volume_m3 : float\n'
        '        A volume [L]\n    """\n'
    ).body[0]
    assert isinstance(planted, ast.FunctionDef)
    assert described(planted) == {"volume_m3": "A volume [L]"}
    assert expected_unit("volume_m3") == "m^3"
    assert expected_unit("density_kg_per_m3") == "kg/m^3"
    assert expected_unit("stages") is None


def test_floats_without_a_unit_in_their_name_are_few_and_dimensionless() -> None:
    """A bare float argument without a suffix means dimensionless; these are all there are."""
    allowed = {
        "baume_degrees", "specific_gravity", "archimedes_number", "peclet", "target_ph", "neutralized_eq", "ph",
        "degrees", "capacity_kilograin_per_ft3", "dose_pound_per_ft3", "selectivity", "sodium_selectivity", "chloride_selectivity",
        "uniformity_coefficient",
    }  # fmt: skip
    found = set()
    for _, node in CALCULATIONS:
        for argument in (*node.args.args, *node.args.kwonlyargs):
            if (
                isinstance(argument.annotation, ast.Name)
                and argument.annotation.id == "float"
                and expected_unit(argument.arg) is None
            ):
                found.add(argument.arg)
    assert found <= allowed, found - allowed
