"""Words of a step as a person on the floor reads them: right for the chemical, the heat, the waste and the purpose."""

from __future__ import annotations

import pytest

from regenplant.core.process import hazards
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import Chemical, StepKind
from tests.core.process.plan_requests import ALL_RECIPES, request_for


def test_what_soaks_and_is_displaced_hot_is_said_to_be_hot() -> None:
    """The bed is as warm as what was fed, whatever the rinse water is."""
    plan = plan_batch(request_for(ALL_RECIPES["CL-SI-OH1"]))
    for step in plan.steps:
        hot = [caution for caution in step.cautions if caution.code == "hot_line"]
        assert bool(hot) == (step.kind in (StepKind.INJECT, StepKind.SOAK, StepKind.DISPLACE)), step.name
        assert all("48\u00a0°C in the line and the bed" in caution.headline for caution in hot)
    cold = plan_batch(request_for(ALL_RECIPES["CL-FE-H"]))
    assert not any(caution.code == "hot_line" for step in cold.steps for caution in step.cautions)


@pytest.mark.parametrize("recipe", ALL_RECIPES.values(), ids=list(ALL_RECIPES))
def test_the_gravest_caution_of_a_step_stands_first(recipe: RecipeDefinition) -> None:
    order = [SignalWord.DANGER, SignalWord.WARNING, SignalWord.CAUTION, SignalWord.NOTICE]
    for step in plan_batch(request_for(recipe)).steps:
        ranks = [order.index(caution.signal) for caution in step.cautions]
        assert ranks == sorted(ranks), step.name


def test_ammonia_is_said_at_the_sample_tap_too() -> None:
    for kind in (StepKind.FAST_RINSE, StepKind.SAMPLE):
        (found,) = hazards.step_cautions(kind, Chemical.AMMONIA, 0.02, None, 288.15)
        assert "ammonia" in found.headline and "upwind" in " ".join(found.measures)


@pytest.mark.parametrize("chemical", [Chemical.SODIUM_HYPOCHLORITE, Chemical.SODIUM_DITHIONITE])
def test_what_gives_off_gas_with_acid_keeps_acid_out_of_the_waste_tank(chemical: Chemical) -> None:
    """It drains to a tank that takes spent acid on other days: chlorine, sulfur dioxide."""
    (line,) = hazards.step_cautions(StepKind.DISPLACE, chemical, 0.02, None, 288.15)
    assert "waste tank" in " ".join(line.measures)
    code = {Chemical.SODIUM_HYPOCHLORITE: "SAN-NA-NAOCL", Chemical.SODIUM_DITHIONITE: "CL-FE-NA"}[chemical]
    brought = next(s for s in plan_batch(request_for(ALL_RECIPES[code])).steps if s.chemical is chemical)
    (entry,) = [entry for entry in brought.entries if entry.key == "no_acid"]
    assert entry.is_before and "waste tank" in entry.name


def test_loading_asks_for_the_gear_that_its_caution_lists() -> None:
    """It named glasses where the caution asked for goggles and an apron."""
    load = plan_batch(request_for(ALL_RECIPES["H-HCL-100"])).steps[0]
    (gear,) = [entry for entry in load.entries if entry.key == "gear_on"]
    assert gear.help == "What the caution lists, before anything is opened."
    assert "goggles" in hazards.protective_equipment(load.cautions)


NOT_REGENERANT = {"CL-FE-H": "acid", "CL-FE-NA": "dithionite", "CL-SI-OH1": "caustic"}


@pytest.mark.parametrize("code", NOT_REGENERANT)
def test_what_cleans_is_not_called_a_regenerant(code: str) -> None:
    """The last injection of a cleaning regenerates; the one before it only cleans."""
    first, *_, last = [
        s for s in plan_batch(request_for(ALL_RECIPES[code])).steps if s.kind is StepKind.INJECT
    ]
    word = NOT_REGENERANT[code]
    for step, name in ((first, word), (last, "regenerant")):
        entries = {entry.key: entry.name for entry in step.entries}
        assert entries["volume_fed"] == f"Diluted {name} fed"
        assert entries["contact_time"] == f"Time the {name} flowed"
        for key in ("strength_frac", "volume_m3", "contact_time_s"):
            assert name in step.figures[key].name, key
    said = [f.name for f in first.figures.values()] + [
        i.name for f in first.figures.values() for i in f.inputs
    ]
    assert not any("regenerant" in name for name in said if not name.startswith("regenerant ratio"))
