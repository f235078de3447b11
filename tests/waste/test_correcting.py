"""The books of the waste after an entry was corrected: whatever is corrected, and in whatever order, they say what stands written."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest

from regenplant.audit import locks
from regenplant.audit.selectors import Line, newest_act
from regenplant.audit.verifying.registry import findings
from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.batches.moves import current_entries
from regenplant.core.errors import NotAllowed
from regenplant.core.process.drained_steps import planned_drains
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.services import issue_paper
from regenplant.plant import services as plant_services
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import plant_day
from regenplant.plant.services import WasteTankSettings
from regenplant.waste import selectors, services
from regenplant.waste.discharges import gone_on, standing_at
from regenplant.waste.models import StepDrain, WasteMovement
from regenplant.web.areas.waste.shown import drain_rows
from tests import factories
from tests.documents.reading import whole_text
from tests.factories import SmallPlant
from tests.waste.metals import flagged_batch
from tests.waste.sewer import opened, permitted

pytestmark = pytest.mark.django_db

AS_TYPED = 1e-3
"""What is written is the plan's figure with four digits."""


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.small_plant()
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    return plant


@pytest.fixture
def injected(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    return batch


def tank(code: str = "N1") -> WasteTank:
    return WasteTank.objects.get(code=code)


def step_of(batch: Batch) -> StepRun:
    return batch.steps.get(kind=StepKind.INJECT.value)


def correct(plant: SmallPlant, step: StepRun, key: str, factor: float, who: str = "operator") -> None:
    """To this factor of the plan."""
    figure = {"stock_drawn": "stock_m3", "volume_fed": "volume_m3", "volume": "volume_m3"}[key]
    text = f"{plan_of(step.batch).step(step.number).value(figure) * 1000 * factor:.6f} L"
    batch_services.correct_entry(
        by=plant.by(who), entry_id=entry_of(step, key).pk, category="slip", reason="the level was read wrong",
        text=text, again=text, outside_is_true=True,
    )  # fmt: skip


def leave_out(plant: SmallPlant, step: StepRun, *keys: str) -> None:
    for key in keys:
        batch_services.correct_entry(
            by=plant.by(), entry_id=entry_of(step, key).pk, category="slip", reason="nobody read the level then",
            standing=StepEntry.Standing.NOT_DONE.value,
        )  # fmt: skip


def entry_of(step: StepRun, key: str) -> StepEntry:
    return current_entries(step)[key]


def drained(step: StepRun) -> tuple[float, dict[str, float], bool]:
    """Volume with chemical [m^3], ions [mol] and whether they are known: all rows of the step together."""
    rows = list(StepDrain.objects.filter(batch=step.batch, step_number=step.number).order_by("pk"))
    moles: dict[str, float] = {}
    for row in rows:
        for name, amount in row.amounts_mol.items():
            moles[name] = moles.get(name, 0.0) + amount
    return sum(row.waste_m3 for row in rows), moles, rows[-1].is_known


def told() -> Line:
    line = newest_act("waste.drain_corrected")
    assert line is not None
    return line


def corrections() -> list[WasteMovement]:
    return list(WasteMovement.objects.filter(kind="correction").order_by("number"))


@pytest.mark.requirement("EV-08")
def test_less_was_drawn_so_less_stands_in_the_tank(plant: SmallPlant, injected: Batch) -> None:
    step = step_of(injected)
    planned = planned_drains(plan_of(injected))[step.number]
    correct(plant, step, "stock_drawn", 0.9)
    stands = selectors.standing(tank())
    assert stands.held.amounts_mol["chloride"] == pytest.approx(
        0.9 * planned.amounts_mol["chloride"], rel=AS_TYPED
    )
    (row,) = corrections()
    assert row.batch == injected and row.step_number == step.number and row.amounts_mol["chloride"] < 0.0
    assert "instead of" in row.reason and "Stock" in row.reason
    assert tank().level_m3 == stands.volume_m3
    line = told()
    assert (
        f"step {step.number} drained other ions in its" in line.sentence
        and "as its entry was corrected" in line.sentence
    )
    (shown,) = [one for one in drain_rows(injected) if one.corrections]
    assert shown.number == step.number and "instead of" in shown.corrections[0]
    assert list(findings()) == []


@pytest.mark.parametrize("seed", [1, 2])
def test_any_corrections_in_any_order_leave_the_books_as_the_entries_stand(
    plant: SmallPlant, injected: Batch, seed: int
) -> None:
    """Mass balance: the tank, which took only this batch, holds what its drains are; these are as if the last entry had been the first."""
    dice = random.Random(seed)
    step = step_of(injected)
    before = WasteMovement.objects.filter(kind="drain").exclude(step_number=step.number)
    other = sum(row.amounts_mol.get("chloride", 0.0) for row in before)
    keys = [key for key in ("stock_drawn", "volume_fed") if key in current_entries(step)]
    assert keys
    for _ in range(8):
        plant.forward(minutes=1)
        correct(plant, step, dice.choice(keys), dice.uniform(0.0, 1.6))
        volume, moles, known = drained(step)
        stands = selectors.standing(tank())
        assert known and stands.unknown_m3 == pytest.approx(0.0, abs=1e-9)
        assert stands.held.amounts_mol["chloride"] == pytest.approx(other + moles["chloride"], abs=1e-6)
        assert stands.volume_m3 == pytest.approx(volume + sum(row.volume_m3 for row in before), abs=1e-9)
    for key in keys:
        correct(plant, step, key, 1.0)
    planned = planned_drains(plan_of(injected))[step.number]
    volume, moles, _ = drained(step)
    assert volume == pytest.approx(planned.waste_m3, rel=AS_TYPED)
    assert moles["chloride"] == pytest.approx(planned.amounts_mol["chloride"], rel=AS_TYPED)
    assert list(findings()) == []


def test_what_left_meanwhile_is_not_put_right_in_the_tank(plant: SmallPlant, injected: Batch) -> None:
    """A quarter of the mixed tank left: of the difference three quarters still stand there (mass balance)."""
    step = step_of(injected)
    before = selectors.standing(tank())
    services.take_waste_away(
        by=plant.by("safety"), waste_tank_id=tank().pk, volume_m3=before.volume_m3 / 4, collector="Tansy Hollow", document="TH 7",
    )  # fmt: skip
    _, was, _ = drained(step)
    correct(plant, step, "stock_drawn", 1.2)
    _, now, _ = drained(step)
    more = now["chloride"] - was["chloride"]
    assert more > 0.0 and corrections()[0].amounts_mol["chloride"] == pytest.approx(0.75 * more)
    line = told()
    assert "25% of it had left the waste tank before" in line.sentence
    assert list(findings()) == []


def test_an_empty_tank_stays_empty(plant: SmallPlant, injected: Batch) -> None:
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    correct(plant, step_of(injected), "stock_drawn", 1.5)
    assert corrections() == [] or all(not row.amounts_mol for row in corrections())
    stands = selectors.standing(tank())
    assert stands.volume_m3 == 0.0 and not stands.held.amounts_mol
    assert StepDrain.objects.filter(corrected_at__isnull=False).count() == 1


def test_a_level_that_was_read_since_stays_as_it_was_read(plant: SmallPlant, injected: Batch) -> None:
    read = selectors.standing(tank()).volume_m3 + 0.5
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=read)
    before = selectors.standing(tank())
    correct(plant, step_of(injected), "stock_drawn", 1.2)
    after = selectors.standing(tank())
    assert after.volume_m3 == pytest.approx(read) and after.unknown_m3 == pytest.approx(before.unknown_m3)
    assert after.chloride_kg > before.chloride_kg


# --- nobody knows -------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("EV-04")
def test_what_nobody_measured_counts_as_planned_and_as_unknown(plant: SmallPlant, injected: Batch) -> None:
    """Never less than the plan's ions, and an analysis is asked for before it goes to the sewer."""
    permitted(plant, chloride_kg_per_day=5000.0)
    step = step_of(injected)
    correct(plant, step, "stock_drawn", 0.5)
    leave_out(plant, step, *(key for key in ("stock_drawn", "volume_fed") if key in current_entries(step)))
    planned = planned_drains(plan_of(injected))[step.number]
    volume, moles, known = drained(step)
    assert not known and volume == pytest.approx(planned.waste_m3, rel=AS_TYPED)
    assert moles["chloride"] == pytest.approx(planned.amounts_mol["chloride"], rel=AS_TYPED)
    stands = selectors.standing(tank())
    assert stands.unknown_m3 == pytest.approx(planned.waste_m3, rel=AS_TYPED)
    assert stands.held.amounts_mol["chloride"] == pytest.approx(planned.amounts_mol["chloride"], rel=AS_TYPED)
    row = opened(plant, volume_m3=stands.volume_m3 / 2)
    assert any("unknown composition" in words for words in standing_at(row, plant.now).blockers)
    line = told()
    assert "its composition counts as unknown" in line.sentence
    assert list(findings()) == []


def test_what_is_written_after_all_is_known_again(plant: SmallPlant, injected: Batch) -> None:
    step = step_of(injected)
    keys = [key for key in ("stock_drawn", "volume_fed") if key in current_entries(step)]
    leave_out(plant, step, *keys)
    assert selectors.standing(tank()).unknown_m3 > 0.0
    for key in keys:
        correct(plant, step, key, 1.0)
    assert drained(step)[2] and selectors.standing(tank()).unknown_m3 == pytest.approx(0.0, abs=1e-9)
    assert list(findings()) == []


# --- elsewhere than into one tank -----------------------------------------------------------------------------------------
@pytest.mark.requirement("EV-06")
def test_brine_to_the_sewer_counts_on_the_day_on_which_it_drained(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    step = step_of(batch)
    batch_services.route_step(
        by=plant.by(), step_id=step.pk, destination="brine_sewer", reason="The waste tank is being cleaned today.",
    )  # fmt: skip
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    day = plant_day(plant.now)
    before = gone_on(day).loads.of("chloride")
    plant.forward(hours=24)
    key = next(key for key in ("stock_drawn", "volume_fed") if key in current_entries(step))
    correct(plant, step, key, 0.5)
    assert gone_on(day).loads.of("chloride") == pytest.approx(0.5 * before, rel=AS_TYPED)
    assert gone_on(day + timedelta(days=1)).loads.of("chloride") == 0.0, "no room on another day comes of it"
    assert corrections() == []


def test_each_tank_is_put_right_by_its_part(plant: SmallPlant) -> None:
    second = WasteTankSettings("N2", "Second tank", 300.0, 3.0)
    plant_services.save_waste_tank(by=plant.by("supervisor"), tank=second)
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.INJECT)
    plant.forward(minutes=10)
    services.run_drains_to(
        by=plant.by(), waste_tank_id=tank("N2").pk, reason="N1 is to be proven and let go today.", while_draining=True
    )  # fmt: skip
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    rows = {row.tank.code: row for row in WasteMovement.objects.filter(kind="drain", step_number=step.number)}
    correct(plant, step, "stock_drawn", 0.8)
    right = {row.tank.code: row for row in corrections()}
    assert set(right) == set(rows) == {"N1", "N2"}
    for code, row in right.items():
        share = rows[code].amounts_mol["chloride"] / sum(one.amounts_mol["chloride"] for one in rows.values())
        whole = sum(one.amounts_mol["chloride"] for one in right.values())
        assert row.amounts_mol["chloride"] / whole == pytest.approx(share, rel=1e-6)
    assert list(findings()) == []


@pytest.mark.requirement("EV-02")
def test_the_label_of_a_drum_follows(plant: SmallPlant) -> None:
    batch = flagged_batch(plant)
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    step = step_of(batch)
    leave_out(plant, step, *(key for key in ("stock_drawn", "volume_fed") if key in current_entries(step)))
    assert corrections() == []
    label = issue_paper(by=plant.by(), kind="drum_label", key=batch.number, size="label").result
    assert "of unknown composition" in whole_text(label.content)


# --- who, and what is found ---------------------------------------------------------------------------------------------
def test_who_may_not_correct_the_entry_changes_no_books(plant: SmallPlant, injected: Batch) -> None:
    with pytest.raises(NotAllowed):
        correct(plant, step_of(injected), "stock_drawn", 0.9, who="planner")
    assert corrections() == [] and not StepDrain.objects.filter(corrected_at__isnull=False).exists()


def test_a_correction_that_was_made_more_is_found(plant: SmallPlant, injected: Batch) -> None:
    correct(plant, step_of(injected), "stock_drawn", 0.9)
    (row,) = corrections()
    locks.remove()
    WasteMovement.objects.filter(pk=row.pk).update(volume_m3=row.volume_m3 * 3 - 1.0)
    locks.install()
    found = [finding.sentence for finding in findings()]
    assert any("more than its entry was corrected by" in sentence for sentence in found), found
