"""What never passes and never leaves: each rule refused by the act and by the page, with its sentence, and nothing signed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.urls import reverse

from regenplant.batches.models import Batch
from regenplant.batches.standing import forecasts_of
from regenplant.core.errors import TransitionRefused
from regenplant.core.process.specification import Limit, LimitBasis, Specification
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Person
from regenplant.plant import services as plant_services
from regenplant.plant.services.instruments import InstrumentSettings
from regenplant.quality import services
from regenplant.quality.models import QcDecision, Release
from regenplant.quality.signed_content import PASS_MEANING, RELEASE_MEANING
from tests import factories
from tests.factories import PASSWORD, SmallPlant
from tests.web.pages import has_signed, text_of

pytestmark = pytest.mark.django_db
USUAL = factories.usual_specification("sac_h")


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(12))


def us_per_cm() -> float:
    limit = USUAL.limit("conductivity")
    assert limit is not None and limit.high is not None
    return limit.high * 1e4


def rinsed(
    plant: SmallPlant,
    readings: list[tuple[float, float]],
    *,
    cell: str = "CELL",
    specification: Specification | None = None,
) -> Batch:
    """A batch that awaits QC after these readings: (minutes since the one before, µS/cm). Hardness is inside."""
    more: dict[str, Any] = {}
    if specification is not None:
        more["specification_version_id"] = factories.approved_specification(plant, specification).pk
    batch = factories.frozen_batch(plant, "sac_h", **more)
    step = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=step.planned_duration_s / 60)
    for minutes, value in readings:
        plant.forward(minutes=minutes)
        factories.reading(plant, batch, f"{value:.4g} µS/cm", cell=cell)
    factories.write_required(plant, step, is_before=False)
    factories.batch_services.finish_step(
        by=plant.by("supervisor"), step_id=step.pk, reason="It ends here, so that QC may look at it."
    )
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    batch.refresh_from_db()
    return batch


def held_inside() -> list[tuple[float, float]]:
    return [(4, us_per_cm() * (0.5 - 0.001 * index)) for index in range(7)]


# --- what is wrong ------------------------------------------------------------------------------------------------------
def one_lucky_reading(plant: SmallPlant) -> Batch:
    return rinsed(plant, [(4, us_per_cm() * factor) for factor in (3.0, 2.5, 2.2, 0.8)])


def lucky_in_between(plant: SmallPlant) -> Batch:
    return rinsed(plant, [(4, us_per_cm() * factor) for factor in (3.0, 0.8, 2.2, 1.9)])


def held_too_short(plant: SmallPlant) -> Batch:
    return rinsed(plant, [(2, us_per_cm() * factor) for factor in (0.8, 0.79, 0.78, 0.77)])


def a_forecast_alone(plant: SmallPlant) -> Batch:
    """It falls as a rinse does and would be inside in a few minutes; it was not."""
    batch = rinsed(plant, [(4, us_per_cm() * 1.05 + 400 * 0.45**index) for index in range(12)])
    assert forecasts_of(batch), "something was forecast of it"
    return batch


def minimum_rinse_short(plant: SmallPlant) -> Batch:
    much = replace(USUAL, code="MUCH", minimum_rinse_bv=60.0, maximum_rinse_bv=None)
    return rinsed(plant, held_inside(), specification=much)


def overdue_instrument(plant: SmallPlant) -> Batch:
    return rinsed(plant, held_inside(), cell="OLD-CELL")


def limit_edited_later(plant: SmallPlant) -> Batch:
    """A wider version of the same specification is approved after the batch was planned; the batch keeps its own."""
    batch = rinsed(plant, [(4, us_per_cm() * (2.0 - 0.001 * index)) for index in range(7)])
    limits = tuple(
        replace(one, high=(one.high or 0.0) * 10) if one.measurement == "conductivity" else one
        for one in USUAL.limits
    )
    own = batch.specification_version.specification
    draft = factories.recipe_services.draft_specification_version(
        by=plant.by("supervisor"), specification_id=own.pk, definition=replace(USUAL, limits=limits),
        reason="wider for the tests",
    ).result  # fmt: skip
    factories.recipe_services.approve_specification_version(
        by=plant.by("supervisor 2"),
        version_id=draft.pk,
        permit=factories.approval(plant.by("supervisor 2"), draft),
    )
    return batch


def compensated_under_a_table(plant: SmallPlant) -> Batch:
    """The published way of judging purified water takes uncompensated readings only; this meter compensates."""
    settings = InstrumentSettings("COMP", "Compensating cell", "conductivity", 0.1, "neutral")
    row = plant_services.save_instrument(by=plant.by("supervisor"), instrument=settings).result
    factories.calibrated(plant, row.pk, days_ago=0)
    plant.instruments["COMP"] = row
    table = tuple((273.15 + celsius, us_per_cm() * 1e-4) for celsius in (0.0, 20.0, 25.0, 30.0, 90.0))
    uncompensated = Limit(
        "conductivity", "Conductivity", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, table=table
    )
    others = tuple(one for one in USUAL.limits if one.measurement != "conductivity")
    wanted = replace(USUAL, code="TABLE", limits=(uncompensated, *others))
    return rinsed(plant, held_inside(), cell="COMP", specification=wanted)


@dataclass(frozen=True)
class Case:
    make: Callable[[SmallPlant], Batch]
    says: str
    who: str = "qc"


CASES = (
    Case(one_lucky_reading, "1 of 3 readings in a row"),
    Case(lucky_in_between, "allowed is at most"),
    Case(held_too_short, "held 6 min of 15 min"),
    Case(a_forecast_alone, "allowed is at most"),
    Case(minimum_rinse_short, "at least 60 BV"),
    Case(overdue_instrument, "No reading of Conductivity"),
    Case(limit_edited_later, "allowed is at most"),
    Case(compensated_under_a_table, "No reading of Conductivity"),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.make.__name__)
def test_it_does_not_pass_by_the_act_or_by_the_page(plant: SmallPlant, client_of: Any, case: Case) -> None:
    batch = case.make(plant)
    with pytest.raises(TransitionRefused) as refused:
        services.decide_batch(
            by=plant.by(case.who),
            batch_id=batch.pk,
            verdict="pass",
            permit=factories.permit(plant, case.who, PASS_MEANING),
        )
    assert case.says in refused.value.message.replace("\u00a0", " ").replace("\u202f", " ")
    person = plant.people[case.who]
    client = has_signed(client_of(person), person)
    shown = client.get(reverse("qc-decision", args=[batch.number]))
    assert case.says in text_of(shown)
    answer = client.post(
        reverse("qc-decision", args=[batch.number]),
        {"verdict": "pass", "version": str(batch.version), "password": PASSWORD},
    )
    assert answer.status_code == 422 and case.says in text_of(answer)
    batch.refresh_from_db()
    assert batch.state == "awaiting_qc" and not QcDecision.objects.exists()


def test_who_rinsed_does_not_judge_and_does_not_hand_it_to_the_second_person(
    plant: SmallPlant, client_of: Any
) -> None:
    batch = rinsed(plant, held_inside())
    plant.people["operator"].groups.add(Group.objects.get(name="QC technician"))
    operator = plant.people["operator"] = Person.objects.get(pk=plant.people["operator"].pk)
    with pytest.raises(TransitionRefused, match="so another person must judge it"):
        services.decide_batch(
            by=plant.by("operator"), batch_id=batch.pk, verdict="pass",
            permit=factories.permit(plant, "operator", PASS_MEANING),
        )  # fmt: skip
    client = has_signed(client_of(operator), operator)
    answer = client.post(
        reverse("qc-decision", args=[batch.number]),
        {"verdict": "pass", "version": str(batch.version), "password": PASSWORD},
    )
    assert answer.status_code == 422 and "so another person must judge it" in text_of(answer)
    assert not QcDecision.objects.exists()


def filled(plant: SmallPlant) -> Batch:
    batch = rinsed(plant, held_inside())
    services.decide_batch(
        by=plant.by("qc"),
        batch_id=batch.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", PASS_MEANING),
    )
    for link in batch.tank_links.select_related("visit"):
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        factories.batch_services.fill_tank(
            by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1
        )
    factories.batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    factories.batch_services.open_deviation(
        by=plant.by(), batch_id=batch.pk, what="the flow meter stuck for a minute", severity="minor"
    )
    batch.refresh_from_db()
    return batch


@pytest.mark.parametrize(
    ("who", "says"),
    [
        ("qc 2", "deviation is open"),
        ("qc", "measured the sample"),
        ("supervisor", "so another person must release it"),
    ],
)
def test_it_is_not_released_by_the_act_or_by_the_page(
    plant: SmallPlant, client_of: Any, who: str, says: str
) -> None:
    """A deviation is open; who measured it and who ended its rinse took part."""
    batch = filled(plant)
    with pytest.raises(TransitionRefused, match=says):
        services.release_batch(
            by=plant.by(who), batch_id=batch.pk, permit=factories.permit(plant, who, RELEASE_MEANING)
        )
    client = has_signed(client_of(plant.people[who]), plant.people[who])
    answer = client.post(
        reverse("qc-release", args=[batch.number]), {"version": str(batch.version), "password": PASSWORD}
    )
    assert answer.status_code == 422 and says in text_of(answer)
    assert not Release.objects.exists()
