"""Approving a version is signing it: its whole content, by name and number, whatever it is a version of."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.audit.verifying import registry
from regenplant.audit.version_model import Version
from regenplant.core.errors import NotAllowed, SignatureRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.default_recipes import default_recipes, default_specifications
from regenplant.core.process.discharge import PermitContent
from regenplant.keeping import retention
from regenplant.keeping import services as keeping_services
from regenplant.people import approvals
from regenplant.people import services as people_services
from regenplant.people.authority import BUILT_IN, plain_of
from regenplant.people.signing import holds
from regenplant.plant import services as plant_services
from regenplant.plant.limit_figures import FIGURES, value_of
from regenplant.plant.limits import newest_content
from regenplant.recipes import services as recipe_services
from tests import factories
from tests.plant.tables import without_sewer

pytestmark = pytest.mark.django_db
RECIPE = replace(next(one for one in default_recipes() if one.code == "H-HCL-100"), code="H-NEW-1")
SPECIFICATION = replace(default_specifications()[0], code="Q-NEW-1")
WHY = "because it was measured"


def _recipe(by: By) -> Version:
    return recipe_services.add_recipe(
        by=by, code=RECIPE.code, name=RECIPE.name, family=RECIPE.family.value, grade="working", definition=RECIPE, reason=WHY
    ).result  # fmt: skip


def _specification(by: By) -> Version:
    one = SPECIFICATION
    return recipe_services.add_specification(
        by=by, code=one.code, name=one.name, family=one.family.value, grade="working", definition=one, reason=WHY
    ).result  # fmt: skip


def _limits(by: By) -> Version:
    values = {figure.name: value_of(newest_content(), figure) for figure in FIGURES}
    values["velocity_ratio_warn"] = 1.6
    return plant_services.draft_limits(by=by, values=values, reason=WHY).result


def _permit(by: By) -> Version:
    content = PermitContent(number="Demo 1", expires_on="2028-06-30")
    return plant_services.draft_permit(by=by, content=content, reason=WHY).result


def _drain_table(by: By) -> Version:
    return plant_services.draft_drain_table(by=by, table=without_sewer(), reason=WHY).result


def _retention(by: By) -> Version:
    return keeping_services.draft_retention(by=by, years=retention.PROPOSALS, reason=WHY).result


def _matrix(by: By) -> Version:
    rights = {**plain_of(BUILT_IN), "tank.ship": {"operator": ["B"], "supervisor": ["*"]}}
    return people_services.draft_authority(by=by, rights=rights, reason=WHY).result


@dataclass(frozen=True)
class Kind:
    """One thing that has versions: who writes one, how, and how it is approved and withdrawn."""

    writer: str
    draft: Callable[[By], Version]
    approve: Callable[..., Outcome]
    withdraw: Callable[..., Outcome]


KINDS = {
    "recipes.RecipeVersion": Kind(
        "supervisor",
        _recipe,
        recipe_services.approve_recipe_version,
        recipe_services.withdraw_recipe_version,
    ),
    "recipes.SpecificationVersion": Kind(
        "supervisor",
        _specification,
        recipe_services.approve_specification_version,
        recipe_services.withdraw_specification_version,
    ),
    "plant.LimitsVersion": Kind(
        "supervisor", _limits, plant_services.approve_limits, plant_services.withdraw_limits
    ),
    "plant.PermitVersion": Kind(
        "supervisor", _permit, plant_services.approve_permit, plant_services.withdraw_permit
    ),
    "plant.DrainTableVersion": Kind(
        "supervisor", _drain_table, plant_services.approve_drain_table, plant_services.withdraw_drain_table
    ),
    "keeping.RetentionVersion": Kind(
        "supervisor", _retention, keeping_services.approve_retention, keeping_services.withdraw_retention
    ),
    "people.AuthorityVersion": Kind(
        "administrator", _matrix, people_services.approve_authority, people_services.withdraw_authority
    ),
}
every_kind = pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)


@pytest.fixture
def plant() -> factories.SmallPlant:
    return factories.small_plant()


def test_everything_that_has_versions_is_tried_here() -> None:
    found = {model._meta.label for model in apps.get_models() if issubclass(model, Version)}
    assert found == set(KINDS)


def approved(plant: factories.SmallPlant, kind: Kind, **also: Any) -> tuple[Any, Outcome]:
    draft = kind.draft(plant.by(kind.writer))
    by = plant.by("supervisor 2")
    outcome = kind.approve(by=by, version_id=draft.pk, permit=factories.approval(by, draft), **also)
    return outcome.result, outcome


@pytest.mark.requirement("ER-04", "ER-18")
@every_kind
def test_an_approval_signs_the_whole_content_by_name_and_number(
    kind: Kind, plant: factories.SmallPlant
) -> None:
    version, outcome = approved(plant, kind)
    signature = version.signature
    assert signature.person == plant.people["supervisor 2"] == version.approved_by
    assert signature.meaning == approvals.approval_of(version) == f"approval of {version.title}"
    assert signature.record_version == version.number and signature.record_kind.endswith("_version")
    assert (signature.signed_at, holds(signature)) == (version.approved_at, True)
    signed = json.loads(signature.content)
    assert canonical_text(signed["content"]) == version.content
    assert (signed["version"], signed["digest"], signed["reason"]) == (1, version.digest, WHY)
    assert outcome.signature == {
        "meaning": signature.meaning,
        "digest": signature.digest,
        "name": signature.printed_name,
    }
    assert not list(approvals.flaws(version)) and not list(approvals.unsigned(version))
    assert registry.findings() == []


@pytest.mark.requirement("ER-18")
@every_kind
def test_a_password_for_something_else_approves_nothing(kind: Kind, plant: factories.SmallPlant) -> None:
    draft, by = kind.draft(plant.by(kind.writer)), plant.by("supervisor 2")
    right = factories.approval(by, draft)
    for permit in (
        replace(right, meaning=f"{right.meaning}1"),
        replace(right, person_id=plant.people["supervisor"].pk),
        replace(right, proven_at=by.at - timedelta(minutes=3)),
        factories.withdrawal(by, draft),
    ):
        with pytest.raises(SignatureRefused):
            kind.approve(by=by, version_id=draft.pk, permit=permit)
    draft.refresh_from_db()
    assert (draft.state, draft.signature) == ("draft", None)


@pytest.mark.requirement("ER-18")
@pytest.mark.parametrize("kind", [one for one in KINDS.values() if one.writer == "supervisor"])
def test_a_signature_does_not_let_the_writer_approve(kind: Kind, plant: factories.SmallPlant) -> None:
    by = plant.by(kind.writer)
    draft = kind.draft(by)
    with pytest.raises(NotAllowed, match="another person must approve it"):
        kind.approve(by=by, version_id=draft.pk, permit=factories.approval(by, draft))


@every_kind
def test_withdrawing_what_was_approved_is_signed(kind: Kind, plant: factories.SmallPlant) -> None:
    version, _ = approved(plant, kind, effective_from=plant.now + timedelta(days=2))
    by = plant.by("supervisor 2")
    with pytest.raises(SignatureRefused, match="taking it out is signed"):
        kind.withdraw(by=by, version_id=version.pk, reason=WHY)
    with pytest.raises(SignatureRefused):
        kind.withdraw(by=by, version_id=version.pk, reason=WHY, permit=factories.approval(by, version))
    outcome = kind.withdraw(
        by=by, version_id=version.pk, reason=WHY, permit=factories.withdrawal(by, version)
    )
    signature = outcome.result.withdrawal_signature
    assert signature.meaning == f"withdrawal of {version.title}" and holds(signature)
    assert json.loads(signature.content)["reason"] == WHY
    assert outcome.result.signature == version.signature, "the approval that was given stays"
    assert registry.findings() == []


@every_kind
def test_a_draft_is_taken_out_without_a_signature(kind: Kind, plant: factories.SmallPlant) -> None:
    draft = kind.draft(plant.by(kind.writer))
    outcome = kind.withdraw(by=plant.by("supervisor 2"), version_id=draft.pk, reason=WHY)
    assert (outcome.result.state, outcome.result.withdrawal_signature, outcome.signature) == (
        "withdrawn",
        None,
        None,
    )
    assert registry.findings() == []


def test_what_was_approved_before_approvals_were_signed_is_said_and_is_not_broken(
    plant: factories.SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log is what tells: its act bears no signature either."""

    def as_before(line: versions.Line, *, permit: Any, also_signed: Any = None, **rest: Any) -> Outcome:
        return versions.approve(line, sign=lambda version, starts: {}, **rest)

    with monkeypatch.context() as older:
        older.setattr(approvals, "approve", as_before)
        version, _ = approved(plant, KINDS["recipes.RecipeVersion"])
    assert version.signature is None
    report = registry.run()
    assert report.holds
    said = [one.sentence for one in report.notices if one.kind == "approval"]
    assert len(said) == 1 and "when that was not signed yet" in said[0] and "H-NEW-1" in said[0]
