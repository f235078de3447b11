"""A batch keeps the version it was frozen with, and its papers print that one, whatever was approved since."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.services import issue_paper
from regenplant.quality.signed_content import decision_content
from regenplant.quality.specification import judgement
from regenplant.recipes import services as recipe_services
from tests import factories
from tests.documents.reading import plain, whole_text
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def running(db: None) -> tuple[SmallPlant, Batch]:
    """A batch that runs under version 1 while version 2 of its recipe and of its specification is approved."""
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    recipe, specification = plant.recipe["sac_h"].recipe, plant.specification["sac_h"].specification
    draft = recipe_services.draft_recipe_version(
        by=plant.by("supervisor"), recipe_id=recipe.pk, definition=replace(factories.usual_recipe("sac_h"), notes="Another note."), reason="a second version",
    ).result  # fmt: skip
    recipe_services.approve_recipe_version(
        by=plant.by("supervisor 2"),
        version_id=draft.pk,
        permit=factories.approval(plant.by("supervisor 2"), draft),
    )
    draft = recipe_services.draft_specification_version(
        by=plant.by("supervisor"), specification_id=specification.pk, definition=replace(factories.usual_specification("sac_h"), hold_time_s=1234.0),
        reason="a second version",
    ).result  # fmt: skip
    recipe_services.approve_specification_version(
        by=plant.by("supervisor 2"),
        version_id=draft.pk,
        permit=factories.approval(plant.by("supervisor 2"), draft),
    )
    return plant, Batch.objects.get(pk=batch.pk)


@pytest.mark.requirement("ER-18")
@pytest.mark.parametrize("kind", ["batch_sheet", "batch_record"])
def test_a_running_batch_prints_the_versions_it_began_with(
    running: tuple[SmallPlant, Batch], kind: str
) -> None:
    plant, batch = running
    paper = plain(whole_text(issue_paper(by=plant.by(), kind=kind, key=batch.number).result.content))
    code, rule = batch.recipe_version.recipe.code, batch.specification_version.specification.code
    assert f"{code} version 1" in paper and f"{code} version 2" not in paper
    assert f"{rule} version 1" in paper and f"{rule} version 2" not in paper
    assert batch.plan_digest[:4] in paper


@pytest.mark.requirement("ER-18")
def test_a_running_batch_is_judged_and_signed_by_the_versions_it_began_with(
    running: tuple[SmallPlant, Batch],
) -> None:
    plant, batch = running
    content = decision_content(batch, judgement(batch), "pass", "")
    assert (content["recipe"]["version"], content["specification"]["version"]) == (1, 1)
    new = factories.frozen_batch(plant, "sac_na", factories.accepted_tanks(plant, "sac_na", 3))
    assert new.recipe_version.number == 1
    assert plant.recipe["sac_h"].recipe.versions.get(number=2).state == "approved"
