"""Recipes and specifications: drafted by one person, approved by another, never changed afterwards."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.default_recipes import default_recipes, default_specifications
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, StepKind, WaterKind
from regenplant.people.models import Person
from regenplant.recipes import selectors, services
from regenplant.recipes.models import Recipe, RecipeVersion, SpecificationVersion
from tests import factories
from tests.conftest import Clock

Acts = Callable[..., By]
_BY_CODE = {one.code: one for one in default_recipes()}
HYDROGEN, SOFTENING, TYPE_1, TYPE_2 = (
    _BY_CODE[code] for code in ("H-HCL-100", "NA-NACL-160", "OH1-NAOH-96", "OH2-NAOH-80")
)


def added(by: By, definition: RecipeDefinition = HYDROGEN) -> RecipeVersion:
    return services.add_recipe(
        by=by, code=definition.code, name=definition.name, family=definition.family.value, grade="working",
        definition=definition, reason="first version",
    ).result  # fmt: skip


def with_dose(definition: RecipeDefinition, dose: float) -> RecipeDefinition:
    steps = [
        replace(step, settings={**step.settings, "dose_kg_per_m3": SetPoint(dose, dose - 5, dose + 5)})
        if step.kind is StepKind.INJECT
        else step
        for step in definition.steps
    ]
    return replace(definition, steps=tuple(steps))


@pytest.fixture
def draft(supervisor: Person, by: Acts) -> RecipeVersion:
    return added(by(supervisor))


# --- the second person ------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-18")
def test_a_draft_becomes_approved_by_another_person(
    draft: RecipeVersion, qc_technician: Person, by: Acts, clock: Clock
) -> None:
    services.approve_recipe_version(
        by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
    )
    draft.refresh_from_db()
    assert (draft.state, draft.approved_by, draft.approved_at, draft.effective_from) == (
        "approved",
        qc_technician,
        clock.now,
        clock.now,
    )


@pytest.mark.requirement("ER-18")
def test_the_maker_does_not_approve_the_own_version(
    draft: RecipeVersion, supervisor: Person, by: Acts
) -> None:
    with pytest.raises(
        NotAllowed, match="You wrote H-HCL-100 version 1, so another person must approve it"
    ) as refused:
        services.approve_recipe_version(
            by=by(supervisor), version_id=draft.pk, permit=factories.approval(by(supervisor), draft)
        )
    assert refused.value.code == "own_work"
    draft.refresh_from_db()
    assert draft.state == "draft"


@pytest.mark.requirement("ER-18")
@pytest.mark.parametrize("model", [RecipeVersion, SpecificationVersion])
def test_the_database_refuses_an_approval_by_the_maker(
    supervisor: Person, by: Acts, clock: Clock, model: Any
) -> None:
    version = added(by(supervisor)) if model is RecipeVersion else specified(by(supervisor))
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.filter(pk=version.pk).update(
            state="approved", approved_by=supervisor, approved_at=clock.now
        )


@pytest.mark.parametrize("who", ["operator", "planner", "outsider", "safety_lead"])
def test_who_may_not_approve_is_refused(
    request: pytest.FixtureRequest, draft: RecipeVersion, by: Acts, who: str
) -> None:
    with pytest.raises(NotAllowed, match=r"recipe\.approve"):
        services.approve_recipe_version(
            by=by(request.getfixturevalue(who)),
            version_id=draft.pk,
            permit=factories.approval(by(request.getfixturevalue(who)), draft),
        )


def test_a_version_is_approved_once(
    draft: RecipeVersion, qc_technician: Person, second_qc_technician: Person, by: Acts
) -> None:
    services.approve_recipe_version(
        by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
    )
    with pytest.raises(StaleRecord, match="approved already"):
        services.approve_recipe_version(
            by=by(second_qc_technician),
            version_id=draft.pk,
            permit=factories.approval(by(second_qc_technician), draft),
        )


def test_a_version_is_not_approved_backwards_in_time(
    draft: RecipeVersion, qc_technician: Person, by: Acts, clock: Clock
) -> None:
    with pytest.raises(RecordRefused, match="which is past"):
        services.approve_recipe_version(
            by=by(qc_technician),
            version_id=draft.pk,
            permit=factories.approval(by(qc_technician), draft),
            effective_from=clock.now - timedelta(minutes=1),
        )


# --- drafts -----------------------------------------------------------------------------------------------------------
def test_a_second_draft_waits_for_the_first(draft: RecipeVersion, qc_technician: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="Version 1 of H-HCL-100 is still a draft"):
        services.draft_recipe_version(
            by=by(qc_technician),
            recipe_id=draft.recipe_id,
            definition=with_dose(HYDROGEN, 110),
            reason="more acid",
        )


def test_the_same_content_twice_in_a_row_is_refused(
    draft: RecipeVersion, supervisor: Person, qc_technician: Person, by: Acts
) -> None:
    services.approve_recipe_version(
        by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
    )
    with pytest.raises(RecordRefused, match="same as version 1"):
        services.draft_recipe_version(
            by=by(supervisor), recipe_id=draft.recipe_id, definition=HYDROGEN, reason="no change"
        )


@pytest.mark.requirement("ER-18")
def test_versions_count_on_and_the_approved_one_stays(
    draft: RecipeVersion, supervisor: Person, qc_technician: Person, by: Acts
) -> None:
    services.approve_recipe_version(
        by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
    )
    second = services.draft_recipe_version(
        by=by(qc_technician),
        recipe_id=draft.recipe_id,
        definition=with_dose(HYDROGEN, 110),
        reason="more acid",
    ).result
    assert second.number == 2
    draft.refresh_from_db()
    assert selectors.recipe_definition(draft) == HYDROGEN
    assert "version 2 was drafted (more acid)" in story([("recipe", str(draft.recipe_id))])[-1].sentence


def step(**change: Any) -> RecipeDefinition:
    """The hydrogen recipe with its injection changed."""
    steps = [replace(one, **change) if one.kind is StepKind.INJECT else one for one in HYDROGEN.steps]
    return replace(HYDROGEN, steps=tuple(steps))


@pytest.mark.parametrize(
    ("definition", "words"),
    [
        (replace(HYDROGEN, steps=()), "no step"),
        (step(chemical=Chemical.SODIUM_HYDROXIDE), "brings sodium hydroxide"),
        (step(water=None), "names no water"),
        (step(is_safe_hold_after=True), "chemical stands in the bed"),
        (step(name=" "), "needs a name"),
        (replace(HYDROGEN, family=SOFTENING.family), "brings hydrochloric acid on Softening resin"),
        (replace(HYDROGEN, code="OTHER"), "names the code"),
    ],
    ids=["no step", "chemical", "water", "hold point", "name", "family", "code"],
)
def test_a_recipe_that_would_hurt_is_not_even_a_draft(
    supervisor: Person, by: Acts, definition: RecipeDefinition, words: str
) -> None:
    with pytest.raises(DomainError, match=words):
        services.add_recipe(
            by=by(supervisor), code=HYDROGEN.code, name=HYDROGEN.name, family=HYDROGEN.family.value, grade="working",
            definition=definition, reason="first version",
        )  # fmt: skip
    assert not Recipe.objects.exists()


def test_an_injection_without_displacement_cannot_even_be_written_down() -> None:
    backwash = RecipeStep(
        StepKind.BACKWASH,
        "Backwash",
        {"expansion_frac": SetPoint(0.5, 0.3, 0.7), "duration_s": SetPoint(600, 500, 700)},
        WaterKind.RAW,
    )
    injection = next(one for one in HYDROGEN.steps if one.kind is StepKind.INJECT)
    with pytest.raises(DomainError, match="chemical never stays in the bed"):
        replace(HYDROGEN, steps=(injection, backwash))


def test_a_recipe_code_is_used_once(draft: RecipeVersion, supervisor: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="exists already"):
        added(by(supervisor))


def test_an_operator_drafts_no_recipe(operator: Person, by: Acts) -> None:
    with pytest.raises(NotAllowed):
        added(by(operator))


# --- frozen content ---------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01", "ER-18")
@pytest.mark.parametrize("column", ["content", "digest", "number", "made_at"])
def test_the_database_freezes_an_approved_version(
    draft: RecipeVersion, qc_technician: Person, by: Acts, clock: Clock, column: str
) -> None:
    services.approve_recipe_version(
        by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
    )
    value: Any = {"content": "{}", "digest": "0", "number": 9, "made_at": clock.now + timedelta(days=1)}[
        column
    ]
    with pytest.raises(DatabaseError, match="frozen"), transaction.atomic():
        RecipeVersion.objects.filter(pk=draft.pk).update(**{column: value})


def test_content_that_was_altered_shows(draft: RecipeVersion) -> None:
    assert selectors.is_intact(draft)
    draft.content = json.dumps({**json.loads(draft.content), "notes": "altered"})
    assert not selectors.is_intact(draft)


# --- use --------------------------------------------------------------------------------------------------------------
def test_only_the_newest_approved_version_that_holds_is_usable(
    draft: RecipeVersion, supervisor: Person, qc_technician: Person, by: Acts, clock: Clock
) -> None:
    def usable() -> list[int]:
        return [version.number for version in selectors.usable_recipe_versions("sac_h", "working", clock.now)]

    assert usable() == []
    services.approve_recipe_version(
        by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
    )
    assert usable() == [1]
    second = services.draft_recipe_version(
        by=by(supervisor), recipe_id=draft.recipe_id, definition=with_dose(HYDROGEN, 110), reason="more acid"
    ).result
    services.approve_recipe_version(
        by=by(qc_technician),
        version_id=second.pk,
        permit=factories.approval(by(qc_technician), second),
        effective_from=clock.now + timedelta(hours=1),
    )
    assert usable() == [1]
    clock.forward(hours=1)
    assert usable() == [2]
    services.withdraw_recipe_version(
        by=by(qc_technician),
        version_id=second.pk,
        reason="leaks more",
        permit=factories.withdrawal(by(qc_technician), second),
    )
    assert usable() == [1]
    assert selectors.usable_recipe_versions("sac_na", "working", clock.now) == []
    assert selectors.usable_recipe_versions("sac_h", "polishing", clock.now) == []


def test_a_withdrawn_version_stays_withdrawn(draft: RecipeVersion, qc_technician: Person, by: Acts) -> None:
    services.withdraw_recipe_version(by=by(qc_technician), version_id=draft.pk, reason="never meant")
    with pytest.raises(StaleRecord, match="withdrawn already"):
        services.withdraw_recipe_version(by=by(qc_technician), version_id=draft.pk, reason="never meant")
    with pytest.raises(StaleRecord):
        services.approve_recipe_version(
            by=by(qc_technician), version_id=draft.pk, permit=factories.approval(by(qc_technician), draft)
        )


# --- specifications ---------------------------------------------------------------------------------------------------
WANTED = default_specifications()[0]


def specified(by: By, definition: Any = WANTED) -> SpecificationVersion:
    return services.add_specification(
        by=by, code=definition.code, name=definition.name, family=definition.family.value, grade="working",
        definition=definition, reason="first version",
    ).result  # fmt: skip


def test_a_specification_goes_the_same_way(
    supervisor: Person, qc_technician: Person, by: Acts, clock: Clock
) -> None:
    first = specified(by(supervisor))
    with pytest.raises(NotAllowed):
        services.approve_specification_version(
            by=by(supervisor), version_id=first.pk, permit=factories.approval(by(supervisor), first)
        )
    services.approve_specification_version(
        by=by(qc_technician), version_id=first.pk, permit=factories.approval(by(qc_technician), first)
    )
    second = services.draft_specification_version(
        by=by(supervisor),
        specification_id=first.specification_id,
        definition=replace(WANTED, minimum_rinse_bv=5.0),
        reason="rinse longer",
    ).result
    services.withdraw_specification_version(by=by(qc_technician), version_id=second.pk, reason="not needed")
    usable = selectors.usable_specification_versions("sac_h", "working", clock.now)
    assert [version.pk for version in usable] == [first.pk]
    assert selectors.specification_definition(usable[0]) == WANTED


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"hold_time_s": 2 * 86400.0}, "hold_time_s"),
        ({"minimum_rinse_bv": 5000.0}, "minimum_rinse_bv"),
        ({"consecutive_readings": 1000}, "consecutive_readings"),
        ({"maximum_rinse_bv": 1.0}, "maximum_rinse_bv"),
        ({"longest_gap_s": 1e9}, "longest_gap_s"),
    ],
)
def test_a_specification_that_cannot_be_is_refused(
    supervisor: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        specified(by(supervisor), replace(WANTED, **change))
    assert refused.value.field == field


def test_a_limit_that_no_quantity_can_have_is_refused(supervisor: Person, by: Acts) -> None:
    limits = (replace(WANTED.limits[0], high=1e9),)
    with pytest.raises(DomainError, match="cannot be a conductivity"):
        specified(by(supervisor), replace(WANTED, limits=limits))
