"""The ways besides pass and fail: a rinse that goes on, a rework that is proposed, and down to a lower product, once and with an order."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from regenplant import units
from regenplant.audit.by import By
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.rinse import judged_steps, specification_of
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, TransitionRefused
from regenplant.core.process.specification import Specification
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.binding import TwoPeople
from regenplant.plant import services as plant_services
from regenplant.plant.services.vessels import VesselSettings
from regenplant.quality import services
from regenplant.quality.instrument_impact import impact_of
from regenplant.quality.models import Downgrade, QcDecision, RinseContinuation
from regenplant.quality.retained import sample_missing
from regenplant.quality.services.measuring import MeasurementAsTyped
from regenplant.quality.signed_content import DOWNGRADE_MEANING, FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from regenplant.quality.specification import applied_class, applied_specification, judgement
from regenplant.quality.ways import lower_products, rework_ways, rinse_on, without_order
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db

REASON = "The reading still falls, another hour will do."


# --- a batch that waits for QC --------------------------------------------------------------------------------------------
def handed_over(plant: SmallPlant, *, microsiemens: float | None = None, letter: str = "D") -> Batch:
    """A hydrogen-form cation that awaits QC; its readings stand at ``microsiemens``, inside where none is given."""
    visits = factories.accepted_tanks(plant, "sac_h", 3, segregation_class=letter)
    batch = factories.frozen_batch(plant, "sac_h", visits)
    if microsiemens is None:
        factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    else:
        step = factories.run_to(plant, batch, StepKind.FAST_RINSE)
        plant.forward(minutes=step.planned_duration_s / 60)
        factories.rinse_down(plant, batch, at_25_us_per_cm=microsiemens)
        factories.write_required(plant, step, is_before=False)
        factories.batch_services.finish_step(
            by=plant.by("supervisor"), step_id=step.pk, reason="It stands on a plateau; QC shall see it."
        )
        factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    batch.refresh_from_db()
    return batch


def class_c_vessel(plant: SmallPlant) -> None:
    """C1 takes class C from now on."""
    vessel = plant.vessels["C1"]
    settings = VesselSettings(
        code="C1", name=vessel.name, internal_diameter_m=0.70, straight_height_m=3.2, bed_volume_min_m3=0.20,
        bed_volume_max_m3=0.45, families=("sac_h",), segregation_classes=("C", "D"),
    )  # fmt: skip
    plant_services.save_vessel(by=plant.by("supervisor"), vessel=settings, version=vessel.version)


def lower(plant: SmallPlant, present: Specification, code: str, factor: float) -> Any:
    """An approved specification whose conductivity limit is ``factor`` times that of the present one."""
    limits = tuple(
        replace(limit, high=(limit.high or 0.0) * factor) if limit.measurement == "conductivity" else limit
        for limit in present.limits
    )
    return factories.approved_specification(
        plant, replace(present, code=code, name=f"Lower {code}", limits=limits)
    )


def go_on(plant: SmallPlant, batch: Batch, **more: Any) -> RinseContinuation:
    arguments = {"reason": REASON, **more}
    return services.continue_rinse(by=plant.by("qc"), batch_id=batch.pk, **arguments).result


def two(plant: SmallPlant, first: str = "qc", second: str = "supervisor 2") -> TwoPeople:
    return TwoPeople(
        factories.permit(plant, first, DOWNGRADE_MEANING),
        By(plant.people[second], plant.now, "tests"),
        factories.permit(plant, second, DOWNGRADE_MEANING),
    )


def order(plant: SmallPlant, **more: Any) -> services.CustomerOrder:
    assert plant.customer is not None
    values = {
        "customer_id": plant.customer.pk, "order_number": "PO-7", "accepted_by": "R. Moonwright",
        "accepted_on": plant.now.date(), **more,
    }  # fmt: skip
    return services.CustomerOrder(**values)


def go_down(plant: SmallPlant, batch: Batch, version: Any, to_class: str, **more: Any) -> Downgrade:
    arguments = {
        "reason": "Stands at a plateau that suits a boiler feed.", "orders": [order(plant)], "together": two(plant), **more,
    }  # fmt: skip
    return services.downgrade_batch(
        by=plant.by("qc"), batch_id=batch.pk, to_version_id=version.pk, to_class=to_class, **arguments
    ).result


# --- the rinse goes on ------------------------------------------------------------------------------------------------
def test_a_rinse_goes_on_and_is_handed_over_once_more(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    plant.forward(minutes=5)
    row = go_on(plant, batch)
    batch.refresh_from_db()
    planned = len(plan_of(batch).steps)
    assert (batch.state, row.round, row.step.number) == ("rinsing", 1, planned + 1)
    rinse, again = batch.steps.filter(number__gt=planned)
    assert rinse.name.startswith("Fast rinse, continued, at most ") and again.name == "Sample for QC, again"
    assert judged_steps(batch)[-1].pk == row.step_id
    plant.forward(minutes=2)
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=2)
    factories.rinse_down(plant, batch)
    factories.write_required(plant, row.step, is_before=False)
    factories.batch_services.finish_step(by=plant.by(), step_id=row.step_id)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    batch.refresh_from_db()
    assert batch.state == "awaiting_qc"
    measured = [r.sentence for r in judgement(batch).verdict.reasons if r.measurement == "hardness"]
    assert measured == ["Hardness is not measured yet; allowed is at most 1\u00a0mg/L as CaCO₃."]
    plant.forward(minutes=2)
    factories.measured_sample(plant, batch)
    services.decide_batch(
        by=plant.by("qc"),
        batch_id=batch.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", PASS_MEANING),
    )
    decision = QcDecision.objects.get(batch=batch)
    assert '"rinse_continued":[{' in decision.content and batch.rinse_continuations.count() == 1


def test_the_water_of_a_rinse_that_goes_on_ends_at_its_specification(plant: SmallPlant) -> None:
    batch = handed_over(plant, microsiemens=90.0)
    stands = rinse_on(batch, judgement(batch))
    assert stands.most_bv is not None and stands.left_bv == pytest.approx(stands.most_bv - stands.rinsed_bv)
    with pytest.raises(OutOfRange, match="more than is left"):
        go_on(plant, batch, allowance_bv=stands.left_bv * 1.01)
    with pytest.raises(OutOfRange, match="above zero"):
        go_on(plant, batch, allowance_bv=0.0)
    assert go_on(plant, batch).allowance_bv == pytest.approx(stands.left_bv)


def test_a_rinse_does_not_go_on_without_a_reason_a_right_or_a_need(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        go_on(plant, batch, reason="longer")
    with pytest.raises(NotAllowed):
        services.continue_rinse(by=plant.by("operator"), batch_id=batch.pk, reason=REASON)
    factories.measured_sample(plant, batch)
    with pytest.raises(TransitionRefused, match="nothing to rinse for"):
        go_on(plant, batch)
    assert not RinseContinuation.objects.exists() and batch.steps.count() == len(plan_of(batch).steps)


def test_a_rinse_goes_on_only_from_qc(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    with pytest.raises(TransitionRefused, match="cannot continue rinse"):
        go_on(plant, batch)


# --- rework is proposed -----------------------------------------------------------------------------------------------
def test_a_fail_carries_the_rework_that_qc_proposes(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    ways = {way.kind.value: way for way in rework_ways(batch, judgement(batch))}
    assert list(ways) == ["inject_half", "inject_full", "clean"]
    half, full = ways["inject_half"].cost, ways["inject_full"].cost
    assert half.chemicals[0][1] == pytest.approx(full.chemicals[0][1] / 2) and half.water_m3 < full.water_m3
    permit = factories.permit(plant, "qc", FAIL_MEANING)
    arguments = {
        "batch_id": batch.pk,
        "verdict": "fail",
        "reason": "hardness leaks three times over",
        "permit": permit,
    }
    with pytest.raises(RecordRefused, match="does not fit this resin"):
        services.decide_batch(by=plant.by("qc"), proposal="separate", **arguments)
    decision = services.decide_batch(by=plant.by("qc"), proposal="inject_half", **arguments).result
    assert decision.rework_proposal.kind == "inject_half"
    assert decision.rework_proposal.chemicals_kg == {"hcl": pytest.approx(half.chemicals[0][1])}
    assert '"kind":"inject_half"' in decision.signature.content


def test_a_pass_carries_no_rework(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    factories.measured_sample(plant, batch)
    with pytest.raises(RecordRefused, match="is not reworked"):
        services.decide_batch(
            by=plant.by("qc"), batch_id=batch.pk, verdict="pass", proposal="rinse",
            permit=factories.permit(plant, "qc", PASS_MEANING),
        )  # fmt: skip


# --- down to a lower product ------------------------------------------------------------------------------------------
@pytest.fixture
def plateau(plant: SmallPlant) -> tuple[Batch, Any]:
    """Class C resin on a plateau above its limit, and an approved lower product that the plateau meets."""
    class_c_vessel(plant)
    present = factories.usual_specification("sac_h")
    limit = present.limit("conductivity")
    assert limit is not None and limit.high is not None
    version = lower(plant, present, "LOW", 4.0)
    batch = handed_over(plant, microsiemens=limit.high * 1e4 * 2.0, letter="C")
    factories.measured_sample(plant, batch)
    return batch, version


def test_a_batch_goes_down_once_with_an_order_and_two_signatures(
    plant: SmallPlant, plateau: tuple[Batch, Any]
) -> None:
    batch, version = plateau
    offered = lower_products(batch, plant.now)
    assert [(one.version.pk, one.to_class, one.is_met) for one in offered] == [
        (version.pk, "C", True), (version.pk, "D", True),
    ]  # fmt: skip
    down = go_down(plant, batch, version, "D")
    batch.refresh_from_db()
    assert (batch.state, batch.segregation_class, applied_class(batch)) == ("passed", "C", "D")
    assert applied_specification(batch).code == "LOW" and specification_of(batch).code != "LOW"
    assert batch.lot is not None and batch.lot.segregation_class == "D"
    assert {link.visit.tank.segregation_class for link in batch.tank_links.all()} == {"D"}
    assert {link.visit.segregation_class for link in batch.tank_links.all()} == {"D"}
    assert (
        down.decision.signature.person == plant.people["qc"]
        and down.signature.person == plant.people["supervisor 2"]
    )
    assert down.signature.content == down.decision.content and '"order":"PO-7"' in down.decision.content
    with pytest.raises(TransitionRefused):
        go_down(plant, batch, version, "D")


def test_the_impact_list_judges_it_by_the_limit_it_was_passed_by(
    plant: SmallPlant, plateau: tuple[Batch, Any]
) -> None:
    batch, version = plateau
    go_down(plant, batch, version, "D")
    (one,) = impact_of(plant.instruments["CELL"]).results
    lowered = applied_specification(Batch.objects.get(pk=batch.pk)).limit("conductivity")
    assert lowered is not None and one.high == lowered.high != specification_of(batch).limits[0].high
    assert one.what == "End point of the rinse" and one.margin is not None and one.margin > 0.0


def test_a_downgrade_needs_an_order_of_a_customer_in_the_batch(
    plant: SmallPlant, plateau: tuple[Batch, Any]
) -> None:
    batch, version = plateau
    stranger = factories.tank_services.add_customer(
        by=plant.by("planner"), code="MARS", name="Mars Test Laundry"
    ).result
    for orders, message in (
        ([], "No customer's order accepts"),
        ([order(plant, customer_id=stranger.pk)], "without a tank in this batch"),
        ([order(plant, order_number="")], "The order number of Moonbase"),
        ([order(plant, accepted_by=" ")], "Who accepted it at Moonbase"),
        ([order(plant, accepted_on=plant.now.date().replace(year=plant.now.year + 1))], "lies ahead"),
        ([order(plant), order(plant)], "named twice"),
    ):
        with pytest.raises(RecordRefused, match=message):
            go_down(plant, batch, version, "D", orders=orders)
    assert not Downgrade.objects.exists()


def test_a_downgrade_takes_two_people(plant: SmallPlant, plateau: tuple[Batch, Any]) -> None:
    batch, version = plateau
    with pytest.raises(RecordRefused, match="another one"):
        go_down(plant, batch, version, "D", together=two(plant, second="qc"))
    with pytest.raises(NotAllowed):
        go_down(plant, batch, version, "D", together=two(plant, second="qc 2"))
    with pytest.raises(RecordRefused, match="another person must agree"):
        go_down(plant, batch, version, "D", together=two(plant, second="supervisor"))
    assert not QcDecision.objects.exists()


def test_nothing_is_upgraded(plant: SmallPlant, plateau: tuple[Batch, Any]) -> None:
    batch, version = plateau
    present = factories.usual_specification("sac_h")
    higher, same = lower(plant, present, "HIGH", 0.5), lower(plant, present, "SAME", 1.0)
    with pytest.raises(RecordRefused, match=r"HIGH is not lower: .*Nothing is upgraded"):
        go_down(plant, batch, higher, "D")
    with pytest.raises(RecordRefused, match="does not become class B"):
        go_down(plant, batch, version, "B")
    with pytest.raises(RecordRefused, match="SAME asks for as much"):
        go_down(plant, batch, same, "C")
    with pytest.raises(RecordRefused, match="never change their family"):
        go_down(plant, batch, plant.specification["sba_1"], "D")


def test_a_lower_product_is_met_by_what_was_measured_or_refused(
    plant: SmallPlant, plateau: tuple[Batch, Any]
) -> None:
    batch, _ = plateau
    narrow = lower(plant, factories.usual_specification("sac_h"), "NARROW", 1.5)
    with pytest.raises(TransitionRefused, match="Pass is not met"):
        go_down(plant, batch, narrow, "D")


def test_resin_that_went_down_once_does_not_go_down_again(
    plant: SmallPlant, plateau: tuple[Batch, Any]
) -> None:
    batch, version = plateau
    go_down(plant, batch, version, "D")
    services.reopen_record(
        by=plant.by("supervisor"), batch_id=batch.pk, category="slip", reason="the hardness was read wrongly",
        permit=factories.permit(plant, "supervisor", "signed record opened for correction"),
    )  # fmt: skip
    services.amend_decision(
        by=plant.by("qc"), batch_id=batch.pk, verdict="fail", reason="hardness was misread, it leaks",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    child = factories.batch_services.plan_rework(
        by=plant.by("supervisor"), batch_id=batch.pk, recipe_version_id=batch.recipe_version_id,
        cause="hardness leaked, full dose again",
    ).result  # fmt: skip
    factories.run_to(plant, child, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, child)
    child.refresh_from_db()
    lowest = lower(plant, specification_of(child), "LOWEST", 8.0)
    with pytest.raises(RecordRefused, match=f"went down once already, with batch {batch.number}"):
        go_down(plant, child, lowest, child.segregation_class)


def test_a_tank_of_a_customer_without_an_order_is_not_filled_with_the_lower_product(
    plant: SmallPlant,
) -> None:
    class_c_vessel(plant)
    present = factories.usual_specification("sac_h")
    visits = factories.accepted_tanks(plant, "sac_h", 3, segregation_class="C")
    other = factories.tank_services.add_customer(
        by=plant.by("planner"), code="MARS", name="Mars Test Laundry"
    ).result
    type(visits[0]).objects.filter(pk=visits[0].pk).update(customer=other)
    version = lower(plant, present, "LOW", 4.0)
    batch = factories.frozen_batch(plant, "sac_h", visits)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    go_down(plant, batch, version, "D")
    factories.tank_services.record_shell(by=plant.by(), visit_id=visits[0].pk, is_sound=True)
    with pytest.raises(RecordRefused, match="They are never mixed"):
        factories.batch_services.fill_tank(
            by=plant.by(), batch_id=batch.pk, visit_id=visits[0].pk, volume_m3=0.1
        )
    assert without_order(batch) == ()


def test_a_filled_tank_without_an_order_stops_the_release(plant: SmallPlant) -> None:
    """Within a class the shells stay what they are; there the release itself asks for the order."""
    visits = factories.accepted_tanks(plant, "sac_h", 3)
    other = factories.tank_services.add_customer(
        by=plant.by("planner"), code="MARS", name="Mars Test Laundry"
    ).result
    type(visits[0]).objects.filter(pk=visits[0].pk).update(customer=other)
    version = lower(plant, factories.usual_specification("sac_h"), "LOW", 4.0)
    batch = factories.frozen_batch(plant, "sac_h", visits)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    go_down(plant, batch, version, "D")
    for visit in visits:
        factories.tank_services.record_shell(by=plant.by(), visit_id=visit.pk, is_sound=True)
        factories.batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=visit.pk, volume_m3=0.1)
    factories.batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    factories.reviewed(plant, batch, who="supervisor")
    with pytest.raises(
        TransitionRefused, match=r"No order accepts the lower product for .* of Mars Test Laundry"
    ):
        services.release_batch(
            by=plant.by("qc 2"), batch_id=batch.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
        )


def test_units_of_the_water_are_said(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    row = go_on(plant, batch, allowance_bv=2.0)
    assert units.format_quantity(row.allowance_bv, "bed_volumes").startswith("2")
    assert sample_missing(batch) == ""


def test_a_measurement_before_the_rinse_went_on_is_kept_and_counts_no_more(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    services.record_measurement(
        by=plant.by("qc"), batch_id=batch.pk,
        measurement=MeasurementAsTyped("hardness", "3 mg/L", plant.instruments["KIT"].pk),
    )  # fmt: skip
    plant.forward(minutes=1)
    go_on(plant, batch)
    assert judgement(batch).measurements == () and batch.qc_measurements.count() == 1
