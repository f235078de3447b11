"""Pages for every family: starting, rinsing down, quality control and set-up of what is no single resin."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pytest
from django.urls import reverse

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from regenplant.resins.models import ResinType
from regenplant.web.presenters.bed import family_short
from regenplant.web.presenters.chemical_use import SHORT
from tests import factories, families
from tests.web.pages import form_data, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return families.whole_plant(now=factories.hours_ago(6))


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def supervisor_client(plant, client_of):
    return client_of(plant.people["supervisor"])


def start_url(plant, key: str, segregation_class: str = "D", **more: Any) -> str:
    pairs = {"type": plant.types[key].pk, "class": segregation_class, **more}
    return f"{reverse('start')}?{urlencode(pairs)}"


def test_every_family_and_chemical_has_its_short_name():
    assert all(family_short(family.value) for family in ResinFamily)
    assert set(SHORT) == set(Chemical)


# --- starting -------------------------------------------------------------------------------------------------------
def test_the_vessel_of_the_anion_leg_is_chosen_among_those_that_fit(plant, operator_client):
    families.tanks_for(plant, families.WAYS["mixed bed"])
    view = operator_client.get(start_url(plant, "mb")).context["view"]
    assert [(one.label, one.is_chosen) for one in view.anion_vessels] == [("M2", True), ("A1", False)]
    chosen = operator_client.get(start_url(plant, "mb", anion_vessel=plant.vessels["A1"].pk)).context["view"]
    assert [one.label for one in chosen.anion_vessels if one.is_chosen] == ["A1"]
    assert chosen.digest != view.digest, "another vessel is another plan"


def test_a_vessel_that_is_no_choice_for_the_anion_leg_is_refused(plant, operator_client):
    families.tanks_for(plant, families.WAYS["mixed bed"])
    text = text_of(operator_client.get(start_url(plant, "mb", anion_vessel=plant.vessels["C1"].pk)))
    assert "The vessel of the anion leg that was chosen is no choice" in text


def test_a_mixed_bed_starts_with_its_anion_vessel(plant, operator_client):
    visits = families.tanks_for(plant, families.WAYS["mixed bed"])
    view = operator_client.get(start_url(plant, "mb")).context["view"]
    sent = {
        "type": plant.types["mb"].pk, "class": "D", "act": "freeze", "gear": "on", "digest": view.digest, "chosen": "1",
        "tanks": [visit.pk for visit in visits], "vessel": plant.vessels["M1"].pk, "anion_vessel": plant.vessels["M2"].pk,
    }  # fmt: skip
    answer = operator_client.post(reverse("start"), sent)
    assert answer.status_code == 302, text_of(answer)
    batch = Batch.objects.get()
    assert batch.anion_vessel == plant.vessels["M2"]
    assert "in vessels M1 and M2" in text_of(
        operator_client.get(reverse("batches-detail", args=[batch.number]))
    )


def test_an_occupied_anion_vessel_says_so_and_closes_the_start(plant, operator_client):
    families.frozen(plant, "mixed bed")
    families.tanks_for(plant, families.WAYS["mixed bed"])
    view = operator_client.get(start_url(plant, "mb", anion_vessel=plant.vessels["M2"].pk)).context["view"]
    m2 = next(one for one in view.anion_vessels if one.label == "M2")
    assert "M2 holds another batch" in m2.note
    assert "M2 holds another batch." in view.reasons


def test_legs_together_want_no_second_vessel(plant, operator_client):
    families.tanks_for(plant, families.WAYS["mixed bed"])
    together = families.recipe_of(plant, families.WAYS["mixed bed together"])
    view = operator_client.get(start_url(plant, "mb", recipe=together)).context["view"]
    assert view.anion_note == "" and view.anion_vessels == ()


def test_water_treated_is_understood_planned_with_and_refused_when_it_means_nothing(plant, operator_client):
    visits = families.tanks_for(plant, families.WAYS["weak base"])
    without = operator_client.get(start_url(plant, "wba")).context["view"]
    treated = operator_client.get(start_url(plant, "wba", throughput="30 m3")).context["view"]
    assert without.digest != treated.digest
    odd = operator_client.get(start_url(plant, "wba", throughput="30 furlongs"))
    assert odd.context["throughput"].errors
    sent = {
        "type": plant.types["wba"].pk, "class": "D", "act": "freeze", "gear": "on", "digest": without.digest, "chosen": "1",
        "tanks": [visit.pk for visit in visits], "throughput": "30 furlongs",
    }  # fmt: skip
    answer = operator_client.post(reverse("start"), sent)
    assert answer.status_code == 422
    assert "The water that was treated is not understood." in text_of(answer)
    assert not Batch.objects.exists()


def test_recipes_that_do_not_regenerate_say_what_they_are_for_and_are_never_suggested(plant, operator_client):
    families.recipe_of(plant, families.WAYS["organic cleaning"])
    families.tanks_for(plant, families.WAYS["organic cleaning"])
    recipes = operator_client.get(start_url(plant, "sba_1")).context["view"].recipes
    cleaning = next(one for one in recipes if one.label.startswith("CL-ORG-OH1"))
    assert cleaning.label.endswith(": cleaning") and not cleaning.is_chosen
    assert cleaning.note.startswith("Cleaning, then regeneration.")


def test_polishing_waits_apart_from_working_mixed_beds(plant, operator_client):
    families.tanks_for(plant, families.WAYS["mixed bed"])
    families.tanks_for(plant, families.WAYS["polishing mixed bed"])
    titles = [row.title for row in operator_client.get(reverse("waiting")).context["pools"]]
    assert sorted(titles) == ["Mixed bed, polishing grade · class C", "Mixed bed, working grade · class D"]


# --- carbon ---------------------------------------------------------------------------------------------------------
@pytest.fixture
def carbon(plant) -> Batch:
    """Carbon in its rinse."""
    batch = families.frozen(plant, "carbon")
    families.start_next(plant, families.work_to(plant, batch, StepKind.FAST_RINSE))
    batch.refresh_from_db()
    return batch


def test_pages_of_carbon_that_is_sanitized_say_in_the_tanks_and_never_in_the_bed(plant, operator_client):
    batch = families.frozen(plant, "carbon")
    families.start_next(plant, families.work_to(plant, batch, StepKind.SANITIZE))
    page = text_of(operator_client.get(reverse("batches-detail", args=[batch.number])))
    assert "Sodium hypochlorite stands in the tanks." in page
    assert "Hold: Do not stop here: Sodium hypochlorite stands in the tanks." in page
    for name in ("batches-detail", "batches-hold", "batches-interrupt"):
        text = text_of(operator_client.get(reverse(name, args=[batch.number])))
        assert "the bed" not in text.lower(), name
    batch_services.interrupt_batch(by=plant.by(), batch_id=batch.pk, reason="the pump tripped")
    held = text_of(operator_client.get(reverse("batches-detail", args=[batch.number])))
    assert "the pump tripped Sodium hypochlorite stands in the tanks." in held
    resumed = text_of(operator_client.get(reverse("batches-resume", args=[batch.number])))
    assert "In the tanks Sodium hypochlorite stands in the tanks." in resumed and "the bed" not in resumed


def test_the_water_a_pump_drove_round_is_said_beside_what_was_rinsed(plant, operator_client):
    batch = families.frozen(plant, "mixed bed")
    fast = families.start_next(plant, families.work_to(plant, batch, StepKind.FAST_RINSE))
    url = reverse("rinse", args=[batch.number])
    assert "Rinsed" in [bar.caption for bar in operator_client.get(url).context["bars"]]
    plant.forward(minutes=fast.planned_duration_s / 60)
    factories.reading(plant, batch, "300 µS/cm")
    factories.work_off(plant, fast)
    families.start_next(plant, batch.steps.get(kind=StepKind.RECIRCULATE))
    plant.forward(minutes=10)
    factories.reading(plant, batch, "3 µS/cm", rinsed="612 L")
    captions = [bar.caption for bar in operator_client.get(url).context["bars"]]
    assert "Rinsed, of which 2.00\u00a0BV recirculated" in captions
    qc = operator_client.get(reverse("qc-decision", args=[batch.number]))
    assert "Rinsed, of which 2.00 BV recirculated" in text_of(qc).replace("\u00a0", " ")


def test_no_page_of_a_carbon_batch_says_that_it_is_regenerated(plant, operator_client, carbon):
    for name in ("batches-detail", "batches-plan", "rinse", "qc-decision", "batches-scrap"):
        text = text_of(operator_client.get(reverse(name, args=[carbon.number])))
        assert "regenerat" not in text.lower().replace("regeneration plant", ""), name


def test_carbon_is_rinsed_by_volume_and_asks_for_no_conductivity(operator_client, carbon):
    response = operator_client.get(reverse("rinse", args=[carbon.number]))
    text = text_of(response)
    assert "a conductivity proves nothing here" in text
    assert "Reading of the cell" not in text
    assert [bar.caption for bar in response.context["bars"]] == ["Rinsed"]


def test_carbon_is_judged_by_its_tests_alone(plant, client_of, carbon):
    while steps := families.at_work(carbon):
        step = steps[0] if steps[0].state == "running" else families.start_next(plant, steps[0])
        factories.work_off(plant, step)
    client = client_of(plant.people["qc"])
    response = client.get(reverse("qc-decision", args=[carbon.number]))
    assert response.status_code == 200
    names = [row["limit"].measurement for row in response.context["measuring"]]
    assert "conductivity" not in names and {"ph", "turbidity"} <= set(names)


# --- the rinse of a mixed bed ---------------------------------------------------------------------------------------
def test_readings_are_written_in_the_fast_rinse_and_in_the_recirculation(plant, operator_client):
    batch = families.frozen(plant, "mixed bed")
    families.start_next(plant, families.work_to(plant, batch, StepKind.FAST_RINSE))
    page = operator_client.get(reverse("rinse", args=[batch.number]))
    assert page.context["page"].is_rinsing
    assert page.context["kind"] == "resistivity"
    assert "fast rinse, rinsing at" in text_of(page)
    factories.work_off(plant, families.at_work(batch)[0])
    families.start_next(plant, families.at_work(batch)[0])
    again = operator_client.get(reverse("rinse", args=[batch.number]))
    assert "recirculating rinse, rinsing at" in text_of(again)
    assert operator_client.get(reverse("batches-detail", args=[batch.number])).context["cards"][0]["is_rinse"]


# --- chemical use ---------------------------------------------------------------------------------------------------
def test_chemical_use_lists_every_chemical_of_a_batch_and_no_theory_where_nothing_is_eluted(
    plant, supervisor_client
):
    batch = families.frozen(plant, "organic cleaning")
    while steps := families.at_work(batch):
        step = steps[0] if steps[0].state == "running" else families.start_next(plant, steps[0])
        if step.kind == StepKind.FAST_RINSE:
            break
        factories.work_off(plant, step)
    response = supervisor_client.get(reverse("chemical-use"), {"period": "30_days"})
    text = text_of(response)
    assert "NaCl" in text and "NaOH" in text
    rows = [row for row in response.context["lines"].rows if row.record.sums.theory_grams == 0]
    assert rows and all(row.get_cell("theory") == "–" for row in rows)


# --- set-up ---------------------------------------------------------------------------------------------------------
def test_a_mixed_bed_type_names_its_two_resins(plant, supervisor_client):
    url = reverse("setup-resin-new")
    data = {
        **form_data(supervisor_client.get(url).context["form"]), "code": "MB-9", "description": "mixed bed of tests", "family": "mb",
        "total_capacity_eq_per_m3": "1500 eq/m3", "operating_capacity_eq_per_m3": "500 eq/m3", "bead_diameter_m": "0.65 mm",
        "bead_density_kg_per_m3": "1170 kg/m3", "max_temperature_kelvin": "60 °C",
    }  # fmt: skip
    refused = supervisor_client.post(url, data)
    assert refused.status_code == 422
    assert "Choose the cation resin of this mixed bed." in text_of(refused)
    data |= {
        "cation_type_id": plant.types["sac_h"].pk,
        "anion_type_id": plant.types["sba_1"].pk,
        "cation_share_frac": "40 %",
    }
    assert supervisor_client.post(url, data).status_code == 302
    added = ResinType.objects.get(code="MB-9")
    assert (added.cation_type, added.anion_type) == (plant.types["sac_h"], plant.types["sba_1"])
    text = text_of(supervisor_client.get(reverse("setup-resin", args=["MB-9"])))
    assert "Share of the cation resin, exhausted 40.0 %" in text


def test_the_resins_of_a_mixed_bed_stay_when_its_data_change(plant, supervisor_client):
    url = reverse("setup-resin-change", args=["T-MB"])
    form = supervisor_client.get(url).context["form"]
    assert form.fields["cation_type_id"].disabled and form.fields["anion_type_id"].disabled
    answer = supervisor_client.post(url, {**form_data(form), "bead_diameter_spread_frac": "12 %"})
    assert answer.status_code == 302, text_of(answer)
    assert ResinType.objects.get(code="T-MB").bead_diameter_spread_frac == pytest.approx(0.12)


def test_carbon_has_no_capacity(supervisor_client):
    url = reverse("setup-resin-new")
    data = {
        **form_data(supervisor_client.get(url).context["form"]), "code": "GAC-9", "description": "carbon of tests", "family": "gac",
        "bead_diameter_m": "1.4 mm", "bead_density_kg_per_m3": "1480 kg/m3", "max_temperature_kelvin": "100 °C",
        "settled_void_frac": "45 %",
    }  # fmt: skip
    assert supervisor_client.post(url, data).status_code == 302
    assert "carbon exchanges no ions" in text_of(
        supervisor_client.get(reverse("setup-resin", args=["GAC-9"]))
    )


def test_a_vessel_has_a_side_outlet_and_air(plant, supervisor_client):
    url = reverse("setup-vessel-change", args=["M1"])
    form = supervisor_client.get(url).context["form"]
    sent = {**form_data(form), "side_outlet_height_m": "14 in", "air_max_m3_per_s": "60 m3/h"}
    assert supervisor_client.post(url, sent).status_code == 302
    text = text_of(supervisor_client.get(reverse("setup-vessel", args=["M1"])))
    assert "Side outlet, above the bed support 0.356 m" in text
    assert "Air for mixing at the pressure in the vessel, at most 1 000 L/min · 35.3 ft³/min" in text.replace(
        "\u202f", " "
    ).replace("\u00a0", " ")


def test_air_counted_at_zero_degrees_is_refused_beside_its_field(plant, supervisor_client):
    url = reverse("setup-vessel-change", args=["M1"])
    form = supervisor_client.get(url).context["form"]
    answer = supervisor_client.post(url, {**form_data(form), "air_max_m3_per_s": "60 Nm3/h"})
    assert answer.status_code == 422
    assert "One Nm³ is 1.057 m³ of standard air" in text_of(answer)


def test_a_vessel_says_what_is_piped_to_it_and_that_it_takes_the_anion_leg_only(plant, supervisor_client):
    url = reverse("setup-vessel-change", args=["M2"])
    form = supervisor_client.get(url).context["form"]
    sent = {**form_data(form), "chemicals": ["naoh"], "takes_anion_leg_only": "on"}
    assert supervisor_client.post(url, sent).status_code == 302
    text = text_of(supervisor_client.get(reverse("setup-vessel", args=["M2"])))
    assert "Chemicals piped to it Sodium hydroxide (caustic)" in text
    assert "It may take SBA1-OH, MB (anion leg) of class D." in text
    assert "MB (anion leg)" in text_of(supervisor_client.get(reverse("setup-vessels")))
    refused = supervisor_client.post(
        reverse("setup-vessel-change", args=["A1"]),
        {
            **form_data(supervisor_client.get(reverse("setup-vessel-change", args=["A1"])).context["form"]),
            "takes_anion_leg_only": "on",
        },
    )
    assert "is made for no mixed bed" in text_of(refused)


def test_recipes_are_narrowed_by_family_and_by_what_they_are_for(plant, supervisor_client):
    families.recipe_of(plant, families.WAYS["organic cleaning"])
    url = reverse("setup-recipes")
    every = supervisor_client.get(url).context["things"]
    anion = supervisor_client.get(url, {"family": "sba_1"}).context["things"]
    cleaning = supervisor_client.get(url, {"purpose": "cleaning"}).context["things"]
    assert len(every) > len(anion) > len(cleaning) == 1
    assert cleaning[0]["code"] == "CL-ORG-OH1" and cleaning[0]["family"].endswith("cleaning")
    nothing = supervisor_client.get(url, {"family": "gac", "purpose": "cleaning"})
    assert "None is of this family and purpose." in text_of(nothing)
    specifications = supervisor_client.get(reverse("setup-specifications"), {"family": "gac"}).context[
        "things"
    ]
    assert [one["code"] for one in specifications] == ["Q-GAC"]


def test_a_skid_a_place_and_a_data_sheet_may_be_for_every_chemical(supervisor_client):
    for name in ("setup-skid-new", "chemicals-place-new", "chemicals-sheet-new"):
        choices = {
            value
            for value, _ in supervisor_client.get(reverse(name)).context["form"].fields["chemical"].choices
        }
        assert {chemical.value for chemical in Chemical} <= choices, name


def test_a_carbon_specification_is_drafted_without_conductivity(plant, supervisor_client):
    url = reverse("setup-specification-draft", args=["Q-GAC"])
    form = supervisor_client.get(url).context["form"]
    assert {"turbidity_high", "residual_sanitizer_high"} <= set(form.fields)
    sent = {**form_data(form), "turbidity_high": "0.8", "reason": "clearer water is asked for by a customer"}
    answer = supervisor_client.post(url, sent)
    assert answer.status_code == 302, text_of(answer)


def test_spent_carbon_is_looked_over_as_all_tanks_are(plant, operator_client):
    visit = factories.received_tank(plant, "gac")
    url = reverse("intake-look", args=[visit.number])
    seen = {
        "shell": "sound", "head_and_fittings": "sound", "odour": "none", "water_colour": "clear", "oxidizer_strip": "none",
        "first_drain_ph": "3.1", "version": visit.version,
    }  # fmt: skip
    answer = operator_client.post(url, seen, follow=True)
    assert "is held" in text_of(answer), text_of(answer)
    visit.refresh_from_db()
    assert visit.state == "held"
