"""The page of a mixed bed: two legs in two cards, each with its own entries and buttons, and its separation record."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.urls import reverse

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.batches.selectors import batch_page
from regenplant.core.process.vocabulary import StepKind
from regenplant.drawing.scene import share
from regenplant.web.drawing.step_ruler import RulerStep, step_ruler
from regenplant.web.presenters.batch_acts import then_words
from regenplant.web.presenters.batch_cards import jump_words
from regenplant.web.presenters.bed import name_in_leg, name_without_leg, ruler_of
from regenplant.web.presenters.separation import separation_view
from tests import factories, families
from tests.web.pages import text_of
from tests.web.test_batches import typed_twice

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return families.whole_plant(now=factories.hours_ago(6))


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def batch(plant) -> Batch:
    """A mixed bed with the legs apart, cut and moved, both legs waiting for their chemical."""
    found = families.frozen(plant, "mixed bed")
    cut = families.work_to(plant, found, StepKind.CUT)
    families.start_next(plant, cut)
    factories.work_off(plant, cut)
    found.refresh_from_db()
    return found


@pytest.fixture
def injecting(plant, batch) -> dict[str, StepRun]:
    """Both injections running, by leg."""
    return {step.leg: families.start_next(plant, step) for step in families.at_work(batch)}


def at(name: str, batch: Batch, *more: Any) -> str:
    return reverse(f"batches-{name}", args=[batch.number, *more])


def page_of(plant, batch: Batch):
    return batch_page(Batch.objects.get(pk=batch.pk), by=plant.by())


# --- two cards ------------------------------------------------------------------------------------------------------
def test_each_leg_has_its_card_with_its_vessel_its_chemical_and_its_buttons(
    operator_client, batch, injecting
):
    response = operator_client.get(at("detail", batch))
    cards, text = response.context["cards"], text_of(response)
    assert [card["work"].leg for card in cards] == ["cation", "anion"]
    assert "Cation leg, M1: running since" in text
    assert "Anion leg, M2: running since" in text
    assert "Hydrochloric acid stands in the cation leg, M1." in text
    assert "Sodium hydroxide (caustic) stands in the anion leg, M2." in text
    assert [card["number"] for card in cards] == [injecting["cation"].number, injecting["anion"].number]
    for card in cards:
        assert "still to feed" in card["finish_why"] or card["finish_why"], (
            "each says what its own end waits for"
        )
    assert f"now steps {cards[0]['number']} and {cards[1]['number']} of" in text


def test_a_leg_is_named_once_and_joining_waits_for_both(plant, batch, injecting):
    page, now = page_of(plant, batch), plant.now
    cation, anion = page.works
    assert [jump_words(work) for work in page.works] == [
        "Cation leg: acid injection",
        "Anion leg: caustic injection",
    ]
    assert then_words(page, cation, now).endswith("displacement rinse, cation leg")
    joining = replace(
        cation, following_planned=next(step for step in page.plan.steps if step.kind is StepKind.JOIN)
    )
    assert then_words(page, joining, now) == "When both legs are done: join the legs"
    assert name_in_leg("Displacement rinse, anion leg", "anion") == "Displacement rinse, anion leg"
    assert name_in_leg("Caustic injection", "anion") == "Caustic injection, anion leg"
    assert name_without_leg("Displacement rinse, anion leg", "anion") == "Displacement rinse"
    assert anion.leg == "anion"


def test_no_two_fields_or_forms_share_a_name_on_the_page(operator_client, batch, injecting):
    html = operator_client.get(at("detail", batch)).content.decode()
    ids = [part.split('"', 1)[0] for part in html.split(' id="')[1:]]
    assert len(ids) == len(set(ids)), sorted(name for name in ids if ids.count(name) > 1)


def test_an_entry_of_one_leg_is_written_there_and_nowhere_else(operator_client, batch, injecting):
    anion = injecting["anion"]
    answer = typed_twice(
        operator_client, at("entry", batch, anion.number), {"key": "strength", "value": "4.0 %"}
    )
    assert answer.status_code == 302
    assert StepEntry.objects.get(key="strength", step=anion).value == pytest.approx(0.04)
    assert not StepEntry.objects.filter(key="strength", step=injecting["cation"]).exists()


def test_a_refused_entry_comes_back_in_its_own_card(operator_client, batch, injecting):
    anion = injecting["anion"]
    answer = operator_client.post(at("entry", batch, anion.number), {"key": "strength", "value": "44 %"})
    first, second = answer.context["cards"]
    assert answer.status_code == 422
    assert second["is_outside"] and second["entry_form"].typed == "44 %"
    assert not first["is_outside"] and not first["entry_form"].is_bound


def test_the_address_asks_for_an_entry_of_one_leg(operator_client, batch, injecting):
    url = f"{at('detail', batch)}?step={injecting['anion'].number}&entry=temperature"
    first, second = operator_client.get(url).context["cards"]
    assert second["chosen"].spec.key == "temperature"
    assert first["chosen"].spec.key != "temperature"
    for odd in ("x", "9" * 30, "-1", "²"):
        assert operator_client.get(f"{at('detail', batch)}?step={odd}&entry=temperature").status_code == 200


def test_a_leg_starts_alone_and_the_other_still_waits(plant, operator_client, batch):
    cation, anion = families.at_work(batch)
    factories.write_required(plant, anion, is_before=True)
    batch.refresh_from_db()
    answer = operator_client.post(at("step-start", batch, anion.number), {"version": batch.version})
    assert answer.status_code == 302
    assert [StepRun.objects.get(pk=step.pk).state for step in (cation, anion)] == ["waiting", "running"]


def test_the_steps_stand_by_leg_and_vessel_with_both_that_run_marked_and_the_finished_ones_folded(
    operator_client, batch, injecting
):
    response = operator_client.get(at("detail", batch))
    groups = response.context["step_groups"]
    assert [group.heading for group in groups] == ["", "Cation leg, M1", "Anion leg, M2", "Joined bed, M1"]
    assert [row.name for group in groups for row in group.rest if row.is_here] == [
        "Acid injection",
        "Caustic injection",
    ]
    assert all(row.state == "done" for row in groups[0].finished) and not groups[0].rest
    assert groups[0].fold == f"{len(groups[0].finished)} steps are done"
    assert not groups[1].finished and not groups[3].finished
    html = response.content.decode()
    for number in (injecting["cation"].number, injecting["anion"].number):
        assert f'href="#step-{number}"' in html and html.count(f'id="step-{number}"') == 1
    assert "Cation leg: acid injection" in text_of(response)


def test_entries_of_finished_steps_are_folded_and_none_is_lost(plant, operator_client, batch, injecting):
    factories.work_off(plant, injecting["cation"])
    response = operator_client.get(at("detail", batch))
    shown, folded = response.context["rows"], response.context["folded"]
    at_work = {str(step.number) for step in families.at_work(batch)}
    assert {row.step for row in shown} <= at_work
    assert [group.fold.split(":")[0] for group in folded] == ["Whole bed", "Cation leg"]
    standing = StepEntry.objects.filter(step__batch=batch, replaced_by__isnull=True).count()
    assert len(shown) + sum(len(group.rows) for group in folded) == standing
    assert response.content.decode().count('<details class="twin">') >= len(folded)


def test_once_one_leg_is_done_the_page_says_what_it_waits_for(plant, operator_client, batch, injecting):
    while steps := [step for step in families.at_work(batch) if step.leg == "cation"]:
        step = steps[0]
        factories.work_off(plant, step if step.state == "running" else families.start_next(plant, step))
    response = operator_client.get(at("detail", batch))
    assert len(response.context["cards"]) == 1
    assert "The cation leg is done and waits for the anion leg." in text_of(response)


# --- wrong, hold ----------------------------------------------------------------------------------------------------
def test_a_chemical_left_standing_is_wrong_and_stands_first(plant, operator_client, batch, injecting):
    factories.work_off(plant, injecting["cation"])
    wrongs = operator_client.get(at("detail", batch)).context["wrongs"]
    assert wrongs[0].headline == "Hydrochloric acid stands in the cation leg in M1 and nothing runs."
    assert wrongs[0].text == "Start displacement rinse, cation leg now."
    assert wrongs[0].tone == "red"


def test_no_hold_while_a_leg_has_its_chemical(plant, operator_client, batch, injecting):
    factories.work_off(plant, injecting["cation"])
    text = text_of(operator_client.get(at("detail", batch)))
    assert "Hold: Do not stop here: " in text
    batch.refresh_from_db()
    answer = operator_client.post(at("hold", batch), {"reason": "the day is over", "version": batch.version})
    assert answer.status_code == 422
    assert Batch.objects.get(pk=batch.pk).state == "running"


def test_a_batch_held_between_the_legs_shows_both_as_held(plant, operator_client, batch):
    batch.refresh_from_db()
    answer = operator_client.post(at("hold", batch), {"reason": "the day is over", "version": batch.version})
    assert answer.status_code == 302
    response = operator_client.get(at("detail", batch))
    assert [card["card"].state for card in response.context["cards"]] == ["held", "held"]
    assert "Held after interface cut" in text_of(response)


# --- the separation record ------------------------------------------------------------------------------------------
def test_the_separation_is_a_section_only_once_something_of_it_is_written(plant, operator_client):
    batch = families.frozen(plant, "mixed bed")
    assert operator_client.get(at("detail", batch)).context["separation"] is None
    single = families.frozen(plant, "weak base")
    assert operator_client.get(at("detail", single)).context["separation"] is None


def test_the_separation_shows_what_was_written_beside_its_limits_and_the_prediction(operator_client, batch):
    response = operator_client.get(at("detail", batch))
    rows = {row.name: row for row in response.context["separation"].rows}
    interface = rows["Interface above the bed support"]
    assert interface.written and interface.limit and interface.predicted
    assert rows["Label of the container that holds the cut"].written == "as on the label"
    assert "All of it lies inside its limits." in text_of(response)


def test_counted_beads_become_sodium_and_chloride_not_only_resistivity(plant, batch):
    """Estimated by the core from the counted shares; more beads, more sodium. Its figures are held to the outside in tests/core."""
    view = separation_view(page_of(plant, batch), "metric")
    effects = {row.name: row for row in view.effects}
    sodium = effects["Sodium, times that of a perfect separation"]
    assert sodium.measured.value > 1.0
    assert effects["Chloride, times that of a perfect separation"].measured.value > 1.0
    assert effects["Resistivity at 25 °C"].measured.value < 18.3e4
    assert f"sodium {sodium.measured.value:.1f} times" in view.effect_sentence
    row = StepEntry.objects.get(step__batch=batch, key="cation_in_anion")
    batch_services.correct_entry(
        by=plant.by(),
        entry_id=row.pk,
        text="1.0 %",
        category="other",
        reason="counted once more, a larger sample",
    )
    again = {row.name: row for row in separation_view(page_of(plant, batch), "metric").effects}
    assert again[sodium.name].measured.value > sodium.measured.value


# --- words that are written -----------------------------------------------------------------------------------------
def test_words_are_written_into_a_field_of_words(plant, operator_client):
    batch = families.frozen(plant, "mixed bed")
    cut = families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    url = f"{at('detail', batch)}?entry=cut_container"
    response = operator_client.get(url)
    assert "Type, paste or scan it." in text_of(response)
    assert response.context["cards"][0]["pad_units"] == ""
    label = "MB-2026-11-25 drum 3, first of two"
    answer = operator_client.post(at("entry", batch, cut.number), {"key": "cut_container", "value": label})
    assert answer.status_code == 302
    assert StepEntry.objects.get(step=cut, key="cut_container").value_as_typed == label
    empty = operator_client.post(at("entry", batch, cut.number), {"key": "cut_container", "value": " "})
    assert empty.status_code == 422


# --- ruler and floor ------------------------------------------------------------------------------------------------
def test_legs_lie_above_one_another_on_the_ruler_and_end_where_the_join_begins(plant, batch, injecting):
    page = page_of(plant, batch)
    steps = ruler_of(page.batch, page.progress)
    assert [step.lane for step in steps].count("cation") == [step.lane for step in steps].count("anion") == 3
    assert step_ruler(steps).label.count("Step ") == 2


def test_two_legs_are_as_long_as_the_longer_one():
    legs = [
        RulerStep("load", 100, "done"),
        RulerStep("acid", 100, lane="cation"),
        RulerStep("caustic", 200, lane="anion"),
        RulerStep("join", 100),
    ]
    load, acid, caustic, join = step_ruler(legs).items
    assert [item.x for item in (load, acid, caustic, join)] == [
        share(0),
        share(0.25),
        share(0.25),
        share(0.75),
    ]
    assert [item.width for item in (load, acid, caustic, join)] == [
        share(0.25),
        share(0.25),
        share(0.5),
        share(0.25),
    ]
    assert acid.y != caustic.y


def test_the_floor_names_both_vessels_both_steps_and_a_chemical_left_standing(
    plant, operator_client, batch, injecting
):
    text = text_of(operator_client.get(reverse("floor")))
    assert "anion leg in M2" in text
    assert "Acid injection and caustic injection" in text
    factories.work_off(plant, injecting["cation"])
    assert "Hydrochloric acid stands in M1 and nothing runs." in text_of(
        operator_client.get(reverse("floor"))
    )
