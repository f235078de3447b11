"""The registry of the bench: every quantity can be called as it says, its ranges are in order, and nothing heavy is loaded by it."""

from __future__ import annotations

import inspect
import subprocess
import sys

import pytest

from regenplant.core.bench.quantity import Group, InputSpec, Quantity
from regenplant.core.bench.registry import known_names, plain_name, quantities, quantity_named

QUANTITIES = list(quantities().values())


def test_every_group_has_quantities_and_they_stand_together() -> None:
    groups = [found.group for found in QUANTITIES]
    assert list(dict.fromkeys(groups)) == [group for group in Group if group in groups]
    assert set(groups) == set(Group)


@pytest.mark.parametrize("found", QUANTITIES, ids=lambda found: found.key)
def test_a_function_takes_what_the_inputs_give(found: Quantity) -> None:
    given = {spec.argument for spec in found.inputs}
    assert len(given) == len(found.inputs)
    parameters = inspect.signature(found.function).parameters
    takes_all = any(entry.kind is inspect.Parameter.VAR_KEYWORD for entry in parameters.values())
    named = {name for name, entry in parameters.items() if entry.kind is not inspect.Parameter.VAR_KEYWORD}
    needed = {name for name in named if parameters[name].default is inspect.Parameter.empty}
    assert needed <= given
    assert takes_all or given <= named


@pytest.mark.parametrize("found", QUANTITIES, ids=lambda found: found.key)
def test_a_quantity_says_what_it_is_and_gives_an_example_of_its_needs(found: Quantity) -> None:
    assert found.title and found.what.endswith(".")
    assert {spec.name for spec in found.inputs if spec.is_needed} <= set(found.example)
    assert set(found.example) <= {spec.name for spec in found.inputs}


def test_ranges_are_in_order() -> None:
    for found in QUANTITIES:
        for spec in found.inputs:
            assert spec.low is None or spec.high is None or spec.low < spec.high, f"{found.key}.{spec.name}"
            assert spec.choices or spec.kind, f"{found.key}.{spec.name} is neither number nor word"


def test_a_name_is_looked_up_without_its_case_hyphens_and_signs() -> None:
    assert plain_name("Velocity-for 50 % Expansion") == "velocity_for_50_percent_expansion"
    assert quantity_named("nothing of the kind") is None
    assert len(known_names()) > len(QUANTITIES)


def test_an_input_is_passed_under_its_name_with_its_unit() -> None:
    assert InputSpec("depth", "", "length").argument == "depth_m"
    assert InputSpec("stages", "", "count").argument == "stages"


def test_the_registry_loads_no_heavy_library() -> None:
    """The list is asked for at every start of the command; libraries come with the first calculation."""
    code = (
        "import sys; from regenplant.core.bench.registry import quantities; quantities(); "
        "print([name for name in ('numpy', 'scipy', 'thermo', 'chemicals', 'fluids', 'phreeqpython', 'pint') if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]", found.stdout
