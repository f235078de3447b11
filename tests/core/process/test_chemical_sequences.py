"""Random sequences of chemicals, displacements and rinses (CS-03): nothing forbidden meets without a rinse between.

What may not meet is written here by hand, from general chemistry (memory; each pair is in any table of incompatible chemicals),
and not taken from the rules.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.errors import OutOfRange
from regenplant.core.process.recipe_chemistry import needs_rinse_between
from regenplant.core.process.recipe_rules import offences
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, ResinFamily
from tests.core.process.test_recipe_rules import _BRINED, _DISPLACE, _RINSE, _bring, _recipe

pytestmark = pytest.mark.requirement("CS-03")

ACIDS = {Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID}
BASES = {Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE, Chemical.AMMONIA}
BLEACHES = {Chemical.SODIUM_HYPOCHLORITE}


def must_not_meet(first: Chemical, second: Chemical) -> bool:
    """Acid and base: heat. Acid and bleach: chlorine."""
    pair = {first, second}
    return bool(pair & ACIDS) and bool(pair & (BASES | BLEACHES))


def forbidden_neighbors(steps: list[RecipeStep]) -> list[tuple[Chemical, Chemical]]:
    """The vessel walked through by hand: its last chemical, and whether displacement and rinse have passed since."""
    found: list[tuple[Chemical, Chemical]] = []
    last: Chemical | None = None
    is_rinsed = False
    for step in steps:
        if step.chemical is None:
            is_rinsed = is_rinsed or step == _RINSE
        else:
            if last is not None and not is_rinsed and must_not_meet(last, step.chemical):
                found.append((last, step.chemical))
            last, is_rinsed = step.chemical, False
    return found


STEPS = st.lists(
    st.one_of(
        st.sampled_from(list(Chemical)).map(lambda chemical: [_bring(chemical), _DISPLACE]),
        st.sampled_from(list(Chemical)).map(lambda chemical: [_bring(chemical)]),
        st.just([_DISPLACE]),
        st.just([_RINSE]),
    ),
    min_size=1,
    max_size=7,
).map(lambda blocks: [step for block in blocks for step in block])


def refusals(steps: list[RecipeStep]) -> list[str]:
    """The rules a recipe with these steps breaks; a sequence that cannot even be written breaks the first of them."""
    try:
        recipe = _recipe(ResinFamily.SAC_SODIUM, *steps, *_BRINED)
    except OutOfRange:
        return ["cannot be written"]
    return [offence.code for offence in offences(recipe)]


@settings(max_examples=200, deadline=None)
@given(STEPS)
def test_a_sequence_in_which_something_forbidden_meets_is_no_recipe(steps: list[RecipeStep]) -> None:
    """One way round: what the rules let through holds no forbidden neighbours. (They also refuse more than these pairs.)"""
    found = refusals(steps)
    if forbidden_neighbors([*steps, *_BRINED]):
        assert "no_rinse_between" in found or found == ["cannot be written"]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.sampled_from(list(Chemical)), min_size=1, max_size=5))
def test_the_same_chemicals_with_displacement_and_rinse_between_break_no_such_rule(
    chemicals: list[Chemical],
) -> None:
    steps = [step for chemical in chemicals for step in (_bring(chemical), _DISPLACE, _RINSE)]
    assert "no_rinse_between" not in refusals(steps)


@pytest.mark.parametrize("first", sorted(ACIDS))
@pytest.mark.parametrize("second", sorted(BASES | BLEACHES))
def test_displacement_alone_lets_neither_order_meet(first: Chemical, second: Chemical) -> None:
    for pair in ((first, second), (second, first)):
        assert "no_rinse_between" in refusals(
            [step for chemical in pair for step in (_bring(chemical), _DISPLACE)]
        )


def test_the_order_of_two_chemicals_makes_no_difference() -> None:
    for first in Chemical:
        for second in Chemical:
            assert needs_rinse_between(first, second) == needs_rinse_between(second, first)
            assert bool(needs_rinse_between(first, second)) >= must_not_meet(first, second)
