"""The handover: prefilled from the live state, frozen when signed, taken over by another person; open items carry on."""

from __future__ import annotations

import pytest

from regenplant.audit import locks
from regenplant.audit.verifying.registry import Finding, Look
from regenplant.batches import services as batch_services
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.keeping import services as paper_services
from regenplant.keeping.handed_on import numbers_in_words, paper_section
from regenplant.keeping.models import PaperForm
from regenplant.plant import services as plant_services
from regenplant.plant.handed_on import LiveLine, LiveSection
from regenplant.plant.selectors import profile
from regenplant.shifts import services
from regenplant.shifts.live import LiveState, live_state
from regenplant.shifts.models import Handover, HandoverItem
from regenplant.shifts.selectors import changed_since, open_items, signed_content
from regenplant.shifts.verification import check_handovers
from tests import factories


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def now_in(plant: factories.SmallPlant) -> LiveState:
    return live_state(plant.now, profile())


def section(state: LiveState, key: str) -> LiveSection:
    return next(one for one in state.sections if one.key == key)


def handed(plant: factories.SmallPlant, *, who: str = "operator", notes: str = "") -> Handover:
    permit = factories.permit(plant, who, services.HANDED_MEANING)
    found: Handover = services.hand_over(
        by=plant.by(who), permit=permit, shown=now_in(plant).mark, notes=notes
    ).result
    return found


def taken(
    plant: factories.SmallPlant, handover: Handover, *, who: str = "operator 2", has_seen: bool = True
) -> Handover:
    permit = factories.permit(plant, who, services.TAKEN_MEANING)
    found: Handover = services.take_over(
        by=plant.by(who), handover_id=handover.pk, permit=permit, has_seen=has_seen
    ).result
    return found


def findings() -> list[str]:
    return [one.sentence for one in check_handovers(Look()) if isinstance(one, Finding)]


# --- the live state -------------------------------------------------------------------------------------------------------
def test_chemical_in_the_bed_is_the_first_hazard_with_its_next_safe_point(
    plant: factories.SmallPlant,
) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    assert section(now_in(plant), "chemical").lines == ()
    factories.run_to(plant, batch, StepKind.INJECT)
    state = now_in(plant)
    assert state.sections[0].key == "chemical"
    line = state.sections[0].lines[0]
    assert line.is_hazard and line in state.hazards
    assert (
        "stands in C1" in line.what
        and batch.number in line.words
        and "Next safe point: the end of" in line.words
    )


def test_chemical_that_stands_while_nothing_runs_is_said(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    assert "Nothing runs." in section(now_in(plant), "chemical").lines[0].words


def test_a_batch_at_work_tells_its_step_its_minutes_and_where_it_may_stop(
    plant: factories.SmallPlant,
) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    plant.forward(minutes=7)
    line = section(now_in(plant), "batches").lines[0]
    assert batch.number in line.what and "Backwash" in line.words and "Next safe hold point" in line.words
    assert "Backwash: 7 of" in line.timing


def test_minutes_are_no_change_and_a_new_deviation_is(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    before = now_in(plant)
    plant.forward(minutes=2)
    after = now_in(plant)
    assert after.lines != before.lines and after.mark == before.mark
    batch_services.open_deviation(
        by=plant.by(), batch_id=batch.pk, what="The gauge sticks.", severity="minor"
    )
    changed = changed_since(before, now_in(plant))
    assert [line.words for line in changed.new if "gauge" in line.words] and now_in(plant).mark != before.mark


def test_locks_held_batches_and_the_eyewash_are_told(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="The fork lift stands in the way.")
    plant_services.lock_out_vessel(
        by=plant.by("safety"),
        vessel_id=plant.vessels["S1"].pk,
        number="L-7",
        reason="Manway open for the liner.",
    )
    plant.forward(days=30)
    state = now_in(plant)
    assert "S1" in section(state, "locked").lines[0].what and section(state, "locked").lines[0].is_hazard
    assert "The fork lift" in section(state, "batches").lines[0].words
    assert "overdue" in section(state, "eyewash").lines[0].what
    assert len(section(state, "strength").lines) == len(plant.lots) > 0, (
        "every strength check has run out by then"
    )


def test_an_empty_section_says_so_instead_of_being_left_out(plant: factories.SmallPlant) -> None:
    state = now_in(plant)
    keys = [one.key for one in state.sections]
    assert keys == [
        "chemical", "locked", "batches", "waiting", "deviations", "tanks", "eyewash", "waste", "strength", "stock",
        "instruments", "plan", "drift", "near_misses", "paper_forms", "sewer", "spills", "stock_counts", "alerts",
    ]  # fmt: skip
    assert all(one.lines or one.nothing for one in state.sections)


# --- two people -------------------------------------------------------------------------------------------------------------
def test_the_state_is_frozen_as_signed(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT)
    before = now_in(plant)
    handover = handed(plant, notes="Pump P-2 sings at half speed.")
    factories.work_off(plant, batch.steps.get(state="running"))
    handover = Handover.objects.get(pk=handover.pk)
    content = signed_content(handover)
    assert content.state == before and content.notes == "Pump P-2 sings at half speed."
    assert content.state.hazards and handover.signature.content == handover.content
    assert findings() == []


def test_what_changed_since_the_page_was_read_is_shown_before_it_is_signed(
    plant: factories.SmallPlant,
) -> None:
    shown = now_in(plant).mark
    plant_services.lock_out_vessel(
        by=plant.by("safety"),
        vessel_id=plant.vessels["S1"].pk,
        number="L-7",
        reason="Manway open for the liner.",
    )
    permit = factories.permit(plant, "operator", services.HANDED_MEANING)
    with pytest.raises(StaleRecord, match="changed since"):
        services.hand_over(by=plant.by(), permit=permit, shown=shown)
    assert not Handover.objects.exists()


def test_the_coming_person_is_another_one_and_signs_for_themselves(plant: factories.SmallPlant) -> None:
    handover = handed(plant)
    with pytest.raises(RecordRefused, match="another person takes it"):
        taken(plant, handover, who="operator")
    with pytest.raises(SignatureRefused):
        services.take_over(
            by=plant.by("operator 2"), handover_id=handover.pk, has_seen=True,
            permit=factories.permit(plant, "operator", services.TAKEN_MEANING),
        )  # fmt: skip
    done = taken(plant, handover)
    assert done.state == "taken" and done.taking_signature is not None
    assert done.taking_signature.person_id != done.signature.person_id
    with pytest.raises(RecordRefused, match="taken over already"):
        taken(plant, handover, who="supervisor")


def test_hazards_are_looked_at_before_a_shift_is_taken(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT)
    handover = handed(plant)
    with pytest.raises(RecordRefused, match="Look at them on the floor first"):
        taken(plant, handover, has_seen=False)
    assert taken(plant, handover).state == "taken"


def test_one_handover_waits_at_a_time(plant: factories.SmallPlant) -> None:
    first = handed(plant)
    with pytest.raises(RecordRefused, match=f"{first.number} of .* waits to be taken over"):
        handed(plant, who="supervisor")
    taken(plant, first)
    assert handed(plant, who="operator 2").number != first.number


def test_a_planner_hands_no_shift_over(plant: factories.SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        handed(plant, who="planner")


# --- open items -----------------------------------------------------------------------------------------------------------------
def test_an_open_item_carries_on_until_it_is_closed(plant: factories.SmallPlant) -> None:
    item: HandoverItem = services.open_item(
        by=plant.by(), words="Valve V-12 weeps; a bucket stands under it.", kind="watch", about="c1"
    ).result
    first = handed(plant)
    taken(plant, first)
    second = handed(plant, who="operator 2")
    told = signed_content(second).items
    assert (
        [one.words for one in told] == [item.words]
        and told[0].since == first.number
        and told[0].about == "C1"
    )
    taken(plant, second, who="supervisor")
    services.close_item(
        by=plant.by("supervisor"), item_id=item.pk, words="Gland packed anew, dry since noon."
    )
    assert not open_items().exists()
    assert signed_content(handed(plant, who="supervisor")).items == ()
    assert [one.words for one in signed_content(Handover.objects.get(pk=second.pk)).items] == [item.words]
    with pytest.raises(RecordRefused, match="closed already"):
        services.close_item(by=plant.by(), item_id=item.pk, words="Closed once more.")


def test_safety_stands_first_among_open_items(plant: factories.SmallPlant) -> None:
    for kind in ("to_do", "watch", "safety"):
        services.open_item(by=plant.by(), words=f"An item of kind {kind}.", kind=kind)
    assert [item.kind for item in open_items()] == ["safety", "watch", "to_do"]


# --- altered ----------------------------------------------------------------------------------------------------------------------
def test_a_handover_that_no_longer_says_what_was_signed_is_named(plant: factories.SmallPlant) -> None:
    handover = taken(plant, handed(plant, notes="All quiet."))
    locks.remove()
    try:
        Handover.objects.filter(pk=handover.pk).update(
            content=handover.content.replace("All quiet.", "Nothing.")
        )
        found = findings()
    finally:
        locks.install()
    assert found == [f"What handover {handover.number} says is not what was signed."]


def test_a_line_is_plain_data() -> None:
    state = LiveState((LiveSection("a", "A", (LiveLine("x", "y", timing="1 min"),), ""),))
    other = LiveState((LiveSection("a", "A", (LiveLine("x", "y", timing="2 min"),), ""),))
    assert state.mark == other.mark and len(state.mark) == 64


# --- paper forms --------------------------------------------------------------------------------------------------------
def pad(plant: factories.SmallPlant, count: int = 3, batch_id: int | None = None) -> list[PaperForm]:
    found: list[PaperForm] = paper_services.issue_form(
        by=plant.by(), kind="rinse_log", count=count, batch_id=batch_id
    ).result
    return found


def test_without_a_form_the_section_says_that_none_is_out(plant: factories.SmallPlant) -> None:
    papers = section(now_in(plant), "paper_forms")
    assert papers.lines == () and papers.nothing == "No paper form is out."


def test_forms_that_are_out_stand_pad_by_pad_and_used_ones_call_for_a_person(
    plant: factories.SmallPlant,
) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    first, second, third = pad(plant)
    paper_services.transcribe(by=plant.by("operator 2"), form_id=second.pk)
    (fourth,) = pad(plant, 1, batch.pk)
    being_entered, out, for_batch = section(now_in(plant), "paper_forms").lines
    assert being_entered.what == f"{second.number} is being entered." and being_entered.needs_person
    assert "by Operator 2" in being_entered.words
    assert out.what == f"{first.number}, {third.number} are out." and not out.needs_person
    assert out.words == "2 rinse log forms. Issued by Operator 1. Not printed yet."
    assert for_batch.what == f"{fourth.number} is out."
    assert f"for {batch.number}, which is not released while it is out" in for_batch.words
    assert {line.kind for line in (being_entered, out, for_batch)} == {"paper_form"}


def test_a_handover_signs_the_forms_that_are_out_and_keeps_them_as_they_were(
    plant: factories.SmallPlant,
) -> None:
    forms = pad(plant)
    before = now_in(plant)
    handover = handed(plant)
    for form in forms:
        paper_services.close_form(
            by=plant.by("supervisor"),
            form_id=form.pk,
            state="spoiled",
            reason="coffee ran over the whole pad",
        )
    assert section(signed_content(handover).state, "paper_forms") == section(before, "paper_forms")
    changed = changed_since(signed_content(handover).state, now_in(plant))
    assert [line.what for line in changed.gone] == [f"{forms[0].number} to {forms[2].number} are out."]


def test_a_form_issued_meanwhile_is_read_before_the_handover_is_signed(plant: factories.SmallPlant) -> None:
    shown = now_in(plant).mark
    pad(plant, 1)
    permit = factories.permit(plant, "operator", services.HANDED_MEANING)
    with pytest.raises(StaleRecord, match="The plant changed"):
        services.hand_over(by=plant.by(), permit=permit, shown=shown)


def test_many_forms_take_one_query(plant: factories.SmallPlant, django_assert_num_queries) -> None:  # type: ignore[no-untyped-def]
    for _ in range(4):
        pad(plant, 5)
    with django_assert_num_queries(1):
        assert len(paper_section(plant.now).lines) == 4


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        (["P-10001"], "P-10001"),
        (["P-10001", "P-10002"], "P-10001, P-10002"),
        (["P-10001", "P-10002", "P-10003", "P-10007"], "P-10001 to P-10003, P-10007"),
    ],
)
def test_neighbouring_numbers_are_a_span(numbers: list[str], words: str) -> None:
    assert numbers_in_words(numbers) == words
