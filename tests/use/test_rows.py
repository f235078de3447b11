"""What a batch took, as it is kept: from plan and ledger, followed at every act, shared without loss, once in every sum."""

from __future__ import annotations

import pytest
from django.core.management import call_command

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Movement
from regenplant.core.process.use_audit import NAMES, SPLIT, summed
from regenplant.core.process.vocabulary import StepKind
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Customer
from regenplant.use.models import UseMonth, UseRow, UseShare
from regenplant.use.selectors import By, audit
from regenplant.use.services._rows import sums_of
from tests import families
from tests.factories import SmallPlant, accepted_tanks, frozen_batch, run_to, write_required
from tests.use.made import injected, ledger_grams, passed, whole

pytestmark = pytest.mark.django_db


@pytest.mark.requirement("CS-10")
def test_a_row_says_theory_plan_and_use_as_plan_and_ledger_do(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h", 1.1)
    (row,) = UseRow.objects.all()
    # 0.306 m³ at the default dose of 100 g/L: 30.6 kg; a tenth more was drawn, typed with four digits
    assert (row.number, row.chemical, row.planned_grams) == (batch.number, "hcl", 30_600)
    assert (
        row.used_grams
        == pytest.approx(33_660, rel=1e-4)
        == Movement.objects.get(reference=batch.number).grams_100
    )
    # stoichiometric: the eluted load times 36.46 g/mol (IUPAC atomic weights: 1.008 + 35.45)
    eluted = plan_of(batch).totals["eluted_eq"].value
    assert row.theory_grams == pytest.approx(eluted * 36.458, rel=1e-3)
    assert row.regenerating_grams == row.used_grams and row.volume_ml == round(batch.resin_volume_m3 * 1e6)
    assert row.variance_sum == pytest.approx(10_000, abs=20) and row.compared == 1


def test_nothing_is_kept_before_a_chemical_moved(plant: SmallPlant) -> None:
    batch = frozen_batch(plant, "sac_h")
    assert not UseRow.objects.exists()
    run_to(plant, batch, StepKind.INJECT)
    assert not UseRow.objects.exists()


def test_a_movement_taken_back_leaves_the_audit_at_once(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    wrong = Movement.objects.get(reference=batch.number)
    chemical_services.correct_movement(
        by=plant.by("supervisor"), movement_id=wrong.pk, category="other", reason="the level was read wrong"
    )
    (row,) = UseRow.objects.all()
    assert (row.used_grams, row.planned_grams) == (0, 30_600)
    assert row.variance_sum == -100_000, "all of the plan is missing"
    (month,) = UseMonth.objects.filter(kind="")
    assert sums_of(month) == sums_of(row)


def test_an_injection_into_which_nothing_went_is_seen(plant: SmallPlant) -> None:
    batch = frozen_batch(plant, "sac_h")
    step = run_to(plant, batch, StepKind.INJECT)
    write_required(plant, step, is_before=False)
    for key in ("stock_drawn", "volume_fed"):
        if step.entries.filter(key=key).exists():
            batch_services.write_entry(
                by=plant.by(), step_id=step.pk, key=key, text="0 L", again="0 L", outside_is_true=True
            )
    plant.forward(minutes=step.planned_duration_s / 60)
    batch_services.finish_step(
        by=plant.by("supervisor"), step_id=step.pk, reason="the pump gave nothing, the batch is held"
    )
    row = UseRow.objects.get(number=batch.number)
    assert (row.used_grams, row.compared, row.variance_sum) == (0, 1, -100_000)


def test_customers_share_by_volume_and_a_movement_counts_once(plant: SmallPlant) -> None:
    """The page before this one counted what one batch took as often as it had injections; a batch of two customers is divided here."""
    visits = accepted_tanks(plant, "sac_h", 3)
    other = tank_services.add_customer(
        by=plant.by("planner"), code="OTHER", name="Other Works (invented)"
    ).result
    visits[0].customer = Customer.objects.get(pk=other.pk)
    visits[0].save(update_fields=["customer"])
    injected(plant, "sac_h", visits=visits)
    (row,) = UseRow.objects.all()
    parts = {share.key: share for share in UseShare.objects.filter(kind="customer")}
    assert len(parts) == 2 and parts["OTHER"].used_grams == pytest.approx(row.used_grams / 3, abs=1)
    for name in SPLIT:
        assert sum(getattr(part, name) for part in parts.values()) == getattr(row, name), name
    found = audit(whole(plant, By.CUSTOMER))
    assert sum(group.sums.used_grams for group in found.groups) == found.totals[0].sums.used_grams
    assert found.totals[0].sums.batches == 1, "two customers, one batch"


def test_three_injections_of_one_chemical_are_one_batch_and_one_bed(db: None) -> None:
    """Sulfuric acid goes in in three concentrations: totals over injections counted its batch and its bed three times."""
    plant = families.whole_plant()
    batch = families.to_release(plant, families.frozen(plant, "sulfuric cation"))
    row = UseRow.objects.get(number=batch.number, chemical="h2so4")
    assert row.batches == 1 and row.volume_ml == round(batch.resin_volume_m3 * 1e6)
    assert row.used_grams == ledger_grams()["h2so4"]
    assert row.planned_grams == pytest.approx(
        plan_of(batch).totals["chemical_kg_100:h2so4"].value * 1000, abs=1
    )


def test_of_a_mixed_bed_each_dose_is_per_volume_of_the_resin_it_regenerates(db: None) -> None:
    """Doses of a mixed bed are stated per volume of the component, as every supplier's sheet does (common practice): over the whole bed both
    would look half as large as they are."""
    plant = families.whole_plant()
    batch = families.to_release(plant, families.frozen(plant, "mixed bed"))
    plan = plan_of(batch)
    assert plan.request.mixed is not None
    share = plan.request.mixed.cation_frac
    for chemical, frac in (("hcl", share), ("naoh", 1.0 - share)):
        row = UseRow.objects.get(number=batch.number, chemical=chemical)
        assert row.volume_ml == round(batch.resin_volume_m3 * 1e6 * frac), chemical
        doses = [
            step.settings["dose_kg_per_m3"].target
            for step in plan.request.recipe.steps
            if step.chemical is not None and step.chemical.value == chemical and step.kind is StepKind.INJECT
        ]
        # the bed was counted as it came, exhausted: then the component's volume is the dose's own
        assert sums_of(row).planned_kg_per_m3 == pytest.approx(sum(doses), rel=2e-3), chemical
        parts = UseShare.objects.filter(row=row, kind="customer")
        assert sum(part.volume_ml for part in parts) == row.volume_ml


@pytest.mark.requirement("CS-10")
def test_everything_the_ledger_gave_to_batches_stands_in_the_audit_once(plant: SmallPlant) -> None:
    for family, factor in (("sac_h", 1.0), ("sac_na", 0.97), ("sba_1", 1.08), ("sac_h", 1.02)):
        passed(plant, family, factor)
    found = audit(whole(plant))
    assert {total.chemical.value: total.sums.used_grams for total in found.totals} == ledger_grams()
    for by in By:
        groups = audit(whole(plant, by)).groups
        for chemical, grams in ledger_grams().items():
            own = [group.sums for group in groups if group.chemical == chemical]
            assert summed(own).used_grams == grams, by


def test_reading_everything_anew_changes_nothing(plant: SmallPlant) -> None:
    for family in ("sac_h", "sac_na", "sba_1"):
        passed(plant, family, 1.03)
    before = _everything()
    call_command("renew_use", verbosity=0)
    assert _everything() == before and any(before)


def _everything() -> tuple[set[tuple[object, ...]], ...]:
    rows = UseRow.objects.values_list("number", "chemical", "day", "shift", "family", "vessel", *NAMES)
    shares = UseShare.objects.values_list("row__number", "row__chemical", "kind", "key", *NAMES)
    months = UseMonth.objects.values_list(
        "month", "kind", "key", "chemical", "family", "vessel", "shift", *NAMES
    )
    return set(rows), set(shares), set(months)
