"""The ledger after a correction: whatever is corrected, and in whatever order, the stock that left is what stands written now."""

from __future__ import annotations

import random

import pytest

from regenplant.audit import locks
from regenplant.audit.verifying.registry import Look
from regenplant.batches import services
from regenplant.batches.endings import mass_fed_kg_100
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Movement, Place
from regenplant.chemicals.selectors import balance_grams, draws_of_step, net_grams, place_of
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.use.models import UseRow
from regenplant.use.selectors import audit
from regenplant.use.verification import check_draws, check_use
from tests.factories import SmallPlant, frozen_batch, run_to, write_required
from tests.use.made import injected, ledger_grams, whole

pytestmark = pytest.mark.django_db


def step_of(batch: Batch) -> StepRun:
    return batch.steps.get(kind=StepKind.INJECT)


def correct(plant: SmallPlant, step: StepRun, key: str, litres: float, **more: object) -> StepEntry:
    entry = step.entries.get(key=key, replaced_by__isnull=True)
    text = f"{litres:.3f} L"
    return services.correct_entry(
        by=plant.by(), entry_id=entry.pk, category="slip", reason="the level was read wrong", text=text,
        again=text, outside_is_true=True, **more,
    ).result  # fmt: skip


def booked(step: StepRun) -> int:
    return net_grams(draws_of_step(step.batch.number, "hcl", step.number, step.finished_at))


def tank_grams(plant: SmallPlant) -> int:
    tank = place_of(plant.lots["hcl"])
    assert tank is not None
    return balance_grams("hcl", tank)


def findings() -> list[str]:
    look = Look()
    return [one.sentence for one in (*check_draws(look), *check_use(look))]


def test_less_was_drawn_than_first_written_and_the_rest_comes_back(plant: SmallPlant) -> None:
    before = tank_grams(plant)
    batch = injected(plant, "sac_h")
    step = step_of(batch)
    planned = plan_of(batch).step(step.number)
    (drawn,) = Movement.objects.filter(reference=batch.number)
    assert drawn.step_number == step.number and tank_grams(plant) == before - drawn.grams_100

    correct(plant, step, "stock_drawn", planned.value("stock_m3") * 900)  # nine tenths of the plan
    back = Movement.objects.filter(reference=batch.number).last()
    assert back is not None and back.from_place.kind == Place.Kind.BATCH and back.to_place == drawn.from_place
    assert back.lot == drawn.lot and back.corrects is None and back.step_number == step.number
    assert back.grams_100 == drawn.grams_100 - 27_540, "nine tenths of 30.6 kg"
    assert "instead of" in back.reason and f"step {step.number}" in back.reason
    assert tank_grams(plant) == before - booked(step)
    row = UseRow.objects.get(number=batch.number)
    assert row.used_grams == booked(step) == round(mass_fed_kg_100(step, planned) * 1000) == 27_540
    assert audit(whole(plant)).totals[0].sums.used_grams == row.used_grams == ledger_grams()["hcl"]
    assert findings() == []


def test_what_was_first_written_as_nothing_leaves_the_stock_once_it_is_corrected(plant: SmallPlant) -> None:
    batch = frozen_batch(plant, "sac_h")
    step = run_to(plant, batch, StepKind.INJECT)
    write_required(plant, step, is_before=False)
    for key in ("stock_drawn", "volume_fed"):
        if step.entries.filter(key=key).exists():
            services.write_entry(
                by=plant.by(), step_id=step.pk, key=key, text="0 L", again="0 L", outside_is_true=True
            )
    plant.forward(minutes=step.planned_duration_s / 60)
    services.finish_step(
        by=plant.by("supervisor"), step_id=step.pk, reason="the pump gave nothing, it is held"
    )
    step.refresh_from_db()
    assert not Movement.objects.filter(reference=batch.number).exists()
    entry = step.entries.filter(key="stock_drawn").last()
    assert entry is not None
    services.correct_entry(
        by=plant.by(), entry_id=entry.pk, category="slip", reason="a hundred litres went in", text="100 L",
        again="100 L", outside_is_true=True,
    )  # fmt: skip
    (drawn,) = Movement.objects.filter(reference=batch.number)
    planned = plan_of(batch).step(step.number)
    want = planned.value("chemical_kg_100") * 0.1 / planned.value("stock_m3")
    assert drawn.to_place.kind == Place.Kind.BATCH and drawn.grams_100 == round(want * 1000)
    assert findings() == []


@pytest.mark.requirement("CS-10")
@pytest.mark.parametrize("seed", [1, 2])
def test_any_corrections_in_any_order_leave_the_ledger_as_the_entries_stand(
    plant: SmallPlant, seed: int
) -> None:
    """Entries up and down, both keys, between them movements taken back by hand: after each correction of an entry that counts the ledger
    has what stands written, nothing is created or lost, and the audit has followed."""
    dice = random.Random(seed)
    before = tank_grams(plant)
    batch = injected(plant, "sac_h")
    step = step_of(batch)
    planned = plan_of(batch).step(step.number)
    keys = [key for key in ("stock_drawn", "volume_fed") if step.entries.filter(key=key).exists()]
    for _ in range(14):
        plant.forward(minutes=1)
        if dice.random() < 0.25:
            loose = Movement.objects.filter(reference=batch.number, corrects=None, corrected_by=None)
            wrong = dice.choice(list(loose)) if loose.exists() else None
            if wrong is not None:
                _take_back(plant, wrong)
        key = dice.choice(keys)
        litres = (
            planned.value("stock_m3" if key == "stock_drawn" else "volume_m3") * 1000 * dice.uniform(0.0, 1.6)
        )
        correct(plant, step, key, litres)
        if key == "stock_drawn":  # it counts before the volume fed
            assert booked(step) == round(mass_fed_kg_100(step, planned) * 1000)
        assert booked(step) == UseRow.objects.get(number=batch.number).used_grams >= 0
        assert tank_grams(plant) == before - booked(step)
    correct(plant, step, "stock_drawn", planned.value("stock_m3") * 1000)
    assert booked(step) == round(mass_fed_kg_100(step, planned) * 1000)
    assert findings() == []


def _take_back(plant: SmallPlant, wrong: Movement) -> None:
    try:
        chemical_services.correct_movement(
            by=plant.by("supervisor"), movement_id=wrong.pk, category="other", reason="it was booked twice"
        )
    except RecordRefused as refusal:
        assert refusal.code in ("entry_corrected", "stock_short")


def test_a_draw_is_not_taken_back_whole_once_a_part_of_it_came_back(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    step = step_of(batch)
    correct(plant, step, "stock_drawn", 10.0)
    drawn = Movement.objects.filter(reference=batch.number).first()
    assert drawn is not None
    with pytest.raises(RecordRefused, match="Correct the entry of the step") as refused:
        chemical_services.correct_movement(
            by=plant.by("supervisor"), movement_id=drawn.pk, category="other", reason="it was booked twice"
        )
    assert refused.value.code == "entry_corrected"


def test_more_than_the_tank_holds_is_refused_and_nothing_of_it_stays(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    step = step_of(batch)
    entries, moves = step.entries.count(), Movement.objects.count()
    with pytest.raises(RecordRefused, match="holds") as refused:
        correct(plant, step, "stock_drawn", 90_000.0)
    assert refused.value.code == "stock_short"
    assert (step.entries.count(), Movement.objects.count()) == (entries, moves)


def test_other_entries_move_nothing(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    step = step_of(batch)
    moves = Movement.objects.count()
    correct(plant, step, "stock_drawn", float(step.entries.filter(key="stock_drawn").last().value) * 1000)  # type: ignore[union-attr, arg-type]
    assert Movement.objects.count() == moves, "the same value once more"


def test_a_ledger_that_does_not_say_what_stands_written_is_found(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    locks.remove()
    Movement.objects.filter(reference=batch.number).update(step_number=None, grams_100=1)
    look = Look()
    (found,) = check_draws(look)
    assert found.is_notice and "by the ledger" in found.sentence, "of an older program it is worth knowing"
    Movement.objects.filter(reference=batch.number).update(step_number=step_of(batch).number)
    (found,) = check_draws(look)
    assert not found.is_notice and batch.number in found.sentence
