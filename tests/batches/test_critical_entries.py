"""Critical entries: typed twice, or checked by a second person; and what two people tick together."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.db import DatabaseError, transaction

from regenplant.batches import services
from regenplant.batches.checking import Method, check_method, unchecked
from regenplant.batches.models import Batch, EntryCheck, StepEntry, StepRun
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, TransitionRefused
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.binding import holds
from regenplant.people.signing import SignaturePermit
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def acid(plant: SmallPlant) -> StepRun:
    """A class D batch with its acid injection running."""
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)


@pytest.fixture
def by_two(plant: SmallPlant) -> None:
    """A plant that wants class D checked by a second person."""
    services.set_check_rules(
        by=plant.by("supervisor"),
        methods={"D": "second_person"},
        reason="the customers of this plant ask for it",
    )


# --- typed twice ------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-21")
def test_two_different_typings_write_nothing(plant: SmallPlant, acid: StepRun) -> None:
    with pytest.raises(
        RecordRefused, match=r"typed as 5\.10\s% and then as 5\.01\s%.*Nothing was written"
    ) as refusal:
        services.write_entry(by=plant.by(), step_id=acid.pk, key="strength", text="5.1 %", again="5.01 %")
    assert refusal.value.code == "typed_differently"
    assert not StepEntry.objects.filter(step=acid, key="strength").exists()
    assert not EntryCheck.objects.exists()


@pytest.mark.requirement("ER-21")
@pytest.mark.parametrize("key", ["strength", "volume_fed", "stock_drawn"])
def test_chemical_volume_and_strength_are_typed_twice(plant: SmallPlant, acid: StepRun, key: str) -> None:
    spec = next(one for one in factories.plan_of(acid.batch).step(acid.number).entries if one.key == key)
    text = factories.text_for(spec)
    with pytest.raises(RecordRefused) as refusal:
        services.write_entry(by=plant.by(), step_id=acid.pk, key=key, text=text)
    assert refusal.value.code == "type_it_again"
    entry = services.write_entry(by=plant.by(), step_id=acid.pk, key=key, text=text, again=text).result
    check = EntryCheck.objects.get(entry=entry)
    assert (check.method, check.typed_again, check.checked_by) == ("twice", text, plant.people["operator"])


def test_the_same_quantity_in_another_unit_is_the_same(plant: SmallPlant, acid: StepRun) -> None:
    services.write_entry(by=plant.by(), step_id=acid.pk, key="volume_fed", text="598 L", again="0.598 m3")
    assert EntryCheck.objects.filter(entry__step=acid, entry__key="volume_fed").exists()


def test_a_total_on_its_way_is_typed_once(plant: SmallPlant, acid: StepRun) -> None:
    entry = services.write_entry(by=plant.by(), step_id=acid.pk, key="volume_fed", text="300 L").result
    assert entry.is_within is None and not EntryCheck.objects.filter(entry=entry).exists()


def test_what_is_not_critical_is_typed_once(plant: SmallPlant, acid: StepRun) -> None:
    entry = services.write_entry(by=plant.by(), step_id=acid.pk, key="flow", text="17.8 L/min").result
    assert not EntryCheck.objects.filter(entry=entry).exists()


def test_a_plan_from_before_goes_by_the_key() -> None:
    old = EntrySpec("stock_drawn", "Stock drawn", "liquid_volume")
    assert old.is_critical is None and is_critical(old)
    assert not is_critical(replace(old, key="flow"))
    assert not is_critical(replace(old, is_critical=False))


@pytest.mark.requirement("ER-21")
def test_the_reading_by_which_the_end_point_holds_is_typed_twice(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=60)
    refused = 0
    for value in ("4.9", "4.8", "4.7", "4.6", "4.5", "4.4"):
        plant.forward(minutes=4)
        typed = services.ReadingAsTyped(f"{value} µS/cm", "25 °C", plant.instruments["CELL"].pk)
        try:
            services.record_reading(by=plant.by(), batch_id=batch.pk, reading=typed)
        except RecordRefused as refusal:
            assert refusal.code == "type_it_again"
            refused += 1
            with pytest.raises(RecordRefused, match="Nothing was written"):
                services.record_reading(
                    by=plant.by(), batch_id=batch.pk, reading=replace(typed, again_text="5.6 µS/cm")
                )
            services.record_reading(
                by=plant.by(), batch_id=batch.pk, reading=replace(typed, again_text=f"{value} µS/cm")
            )
    # 15 minutes at four minutes a reading: the fifth reading is the first by which the limit is held long enough
    assert refused == 2 and batch.readings.count() == 6
    assert unchecked(batch) == ()


# --- second person ----------------------------------------------------------------------------------------------------
def permit(plant: SmallPlant, who: str) -> SignaturePermit:
    return factories.permit(plant, who, services.CHECK_MEANING)


@pytest.fixture
def written(plant: SmallPlant, acid: StepRun, by_two: None) -> StepEntry:
    return services.write_entry(by=plant.by(), step_id=acid.pk, key="strength", text="5.1 %").result


@pytest.mark.requirement("ER-21")
def test_which_check_it_is_depends_on_the_class(db: None) -> None:
    assert {cls: check_method(cls) for cls in "ABCD"} == {
        "A": Method.SECOND_PERSON, "B": Method.SECOND_PERSON, "C": Method.TWICE, "D": Method.TWICE,
    }  # fmt: skip


@pytest.mark.requirement("ER-21")
def test_the_plant_sets_the_check_of_each_class(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        services.set_check_rules(
            by=plant.by(), methods={"D": "second_person"}, reason="the customers ask for it"
        )
    for methods, reason, field in (
        ({"D": "never"}, "the customers ask for it", "class_D"),
        ({"Q": "twice"}, "the customers ask for it", "methods"),
        ({"D": "second_person"}, "because", "reason"),
    ):
        with pytest.raises(RecordRefused) as refusal:
            services.set_check_rules(by=plant.by("supervisor"), methods=methods, reason=reason)
        assert refusal.value.field == field
    services.set_check_rules(
        by=plant.by("supervisor"),
        methods={"D": "second_person", "A": "twice"},
        reason="the customers ask for it",
    )
    assert (check_method("D"), check_method("A")) == (Method.SECOND_PERSON, Method.TWICE)
    assert check_method("B") is Method.SECOND_PERSON  # as usual


@pytest.mark.requirement("ER-15", "ER-21")
def test_nobody_checks_what_they_wrote(plant: SmallPlant, written: StepEntry) -> None:
    with pytest.raises(RecordRefused, match="wrote it down, so another person checks it") as refusal:
        services.check_entry(by=plant.by(), entry_id=written.pk, permit=permit(plant, "operator"))
    assert refusal.value.code == "own_work" and not EntryCheck.objects.exists()


@pytest.mark.requirement("ER-16", "ER-21")
def test_a_second_person_signs_over_what_was_written(plant: SmallPlant, written: StepEntry) -> None:
    check = services.check_entry(
        by=plant.by("operator 2"), entry_id=written.pk, permit=permit(plant, "operator 2")
    ).result
    assert check.method == "second_person" and check.signature.person == plant.people["operator 2"]
    assert holds(check.signature) and '"value":"5.1 %"' in check.signature.content
    with pytest.raises(RecordRefused, match="is checked already"):
        services.check_entry(by=plant.by("qc"), entry_id=written.pk, permit=permit(plant, "qc"))


@pytest.mark.requirement("ER-16")
def test_the_first_persons_password_signs_nothing_for_the_second(
    plant: SmallPlant, written: StepEntry
) -> None:
    with pytest.raises(SignatureRefused, match="proven by another person"):
        services.check_entry(by=plant.by("operator 2"), entry_id=written.pk, permit=permit(plant, "operator"))
    assert not EntryCheck.objects.exists()


def test_who_may_not_check_is_refused_and_what_is_not_critical_needs_nobody(
    plant: SmallPlant, acid: StepRun, written: StepEntry
) -> None:
    with pytest.raises(NotAllowed):
        services.check_entry(by=plant.by("planner"), entry_id=written.pk, permit=permit(plant, "planner"))
    flow = services.write_entry(by=plant.by(), step_id=acid.pk, key="flow", text="17.8 L/min").result
    with pytest.raises(RecordRefused, match="needs no second person"):
        services.check_entry(by=plant.by("qc"), entry_id=flow.pk, permit=permit(plant, "qc"))


def test_a_corrected_value_is_checked_anew(plant: SmallPlant, written: StepEntry) -> None:
    services.check_entry(by=plant.by("qc"), entry_id=written.pk, permit=permit(plant, "qc"))
    services.correct_entry(
        by=plant.by(), entry_id=written.pk, text="5.2 %", category="slip", reason="read the wrong line"
    )
    assert [one.entry.value_as_typed for one in unchecked(written.step.batch) if one.entry] == ["5.2"]


@pytest.mark.requirement("ER-21")
def test_qc_gets_no_batch_whose_critical_entries_are_not_checked(plant: SmallPlant, by_two: None) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    sample = factories.run_to(plant, batch, StepKind.SAMPLE)
    factories.write_required(plant, sample, is_before=False)
    with pytest.raises(TransitionRefused) as refusal:
        services.finish_step(by=plant.by(), step_id=sample.pk)
    assert "Not checked by a second person yet:" in str(refusal.value)
    assert "the last reading of the rinse" in str(refusal.value)
    assert "strength" in str(refusal.value).lower()
    factories.check_what_is_critical(plant, batch)
    services.finish_step(by=plant.by(), step_id=sample.pk)
    batch.refresh_from_db()
    assert batch.state == "awaiting_qc"


def test_checks_are_frozen_in_the_database(plant: SmallPlant, written: StepEntry) -> None:
    services.check_entry(by=plant.by("qc"), entry_id=written.pk, permit=permit(plant, "qc"))
    for change in (
        lambda: EntryCheck.objects.update(checked_by=plant.people["supervisor"]),
        lambda: EntryCheck.objects.all().delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


# --- together ---------------------------------------------------------------------------------------------------------
@pytest.fixture
def asked(plant: SmallPlant) -> Batch:
    """A batch whose recipe wants two people at the connection of the acid."""
    definition = factories.usual_recipe("sac_h")
    steps = tuple(replace(step, asks_second_person=step.kind is StepKind.INJECT) for step in definition.steps)
    recipe = factories.approved_recipe(plant, replace(definition, code="TWO-AT-IT", steps=steps))
    return factories.frozen_batch(plant, "sac_h", recipe_version_id=recipe.pk)


def injection(batch: Batch) -> StepRun:
    return batch.steps.get(kind=StepKind.INJECT.value)


@pytest.mark.requirement("ER-16")
def test_the_injection_waits_for_two_people_and_two_passwords(plant: SmallPlant, asked: Batch) -> None:
    factories.run_to(plant, asked, StepKind.SETTLE, finish=True)
    step = injection(asked)
    for spec in factories.plan_of(asked).step(step.number).entries:
        if spec.is_before and spec.kind != "second_person":
            factories.write(plant, step, spec.key, factories.text_for(spec))
    with pytest.raises(TransitionRefused, match="Chemical connection checked by two people"):
        services.start_step(by=plant.by(), step_id=step.pk)
    with pytest.raises(RecordRefused, match="takes two people"):
        services.write_entry(by=plant.by(), step_id=step.pk, key="connection_checked", text="yes")
    own = factories.permit(plant, "operator", services.TOGETHER_MEANING)
    with pytest.raises(RecordRefused, match="the second person is another one"):
        services.confirm_together(
            by=plant.by(), step_id=step.pk, key="connection_checked", second=plant.by(), permit=own
        )
    with pytest.raises(SignatureRefused, match="proven by another person"):
        services.confirm_together(
            by=plant.by(), step_id=step.pk, key="connection_checked", second=plant.by("qc"), permit=own
        )
    assert not StepEntry.objects.filter(step=step, key="connection_checked").exists()
    factories.write(plant, step, "connection_checked", "yes")
    check = EntryCheck.objects.get(entry__step=step)
    assert check.checked_by != check.entry.entered_by
    services.start_step(by=plant.by(), step_id=step.pk)


def test_only_a_chemical_has_a_connection_to_check() -> None:
    from regenplant.core.errors import OutOfRange

    definition = factories.usual_recipe("sac_h")
    load = next(step for step in definition.steps if step.kind is StepKind.LOAD)
    with pytest.raises(OutOfRange, match="connection of a chemical"):
        replace(load, asks_second_person=True)


@pytest.mark.requirement("ER-21")
def test_rules_made_stricter_later_do_not_undo_a_check_but_hold_for_what_comes(
    plant: SmallPlant, acid: StepRun
) -> None:
    """Typed twice while that was enough: nobody could check it a second time, so it must not hold the release back."""
    twice = services.write_entry(
        by=plant.by(), step_id=acid.pk, key="strength", text="5.1 %", again="5.1 %"
    ).result
    services.set_check_rules(
        by=plant.by("supervisor"), methods={"D": "second_person"}, reason="the customers ask for it"
    )
    assert twice.pk not in [one.entry.pk for one in unchecked(acid.batch) if one.entry]
    later = services.write_entry(by=plant.by(), step_id=acid.pk, key="strength", text="5.2 %").result
    assert [one.entry.pk for one in unchecked(acid.batch) if one.entry] == [later.pk]
