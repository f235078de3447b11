"""The set-up through HTTP: read by all, changed by those who may; every refusal beside its field, nothing lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.core.process.default_recipes import default_recipes
from regenplant.people.models import Person
from regenplant.plant.models import Instrument, PlantProfile, Skid, Vessel, WasteTank, WaterSupply
from regenplant.recipes import services as recipe_services
from regenplant.recipes.models import Recipe, RecipeVersion, Specification, SpecificationVersion
from regenplant.recipes.selectors import recipe_definition, specification_definition
from regenplant.resins.models import ResinLot, ResinType
from regenplant.resins.services import mix_lot, receive_new_lot
from regenplant.web.areas.setup.forms import (
    CleanDownForm,
    LiftForm,
    LockOutForm,
    ProfileForm,
    SkidForm,
    SkidLockOutForm,
    VesselForm,
    WasteLevelForm,
    WasteTankForm,
    WaterForm,
)
from regenplant.web.areas.setup.instrument_forms import CalibrationForm, InstrumentForm
from regenplant.web.areas.setup.people import PersonForm, WhyForm
from regenplant.web.areas.setup.recipe_form import RecipeForm
from regenplant.web.areas.setup.resin_forms import NewLotForm, ResinTypeForm, ScrapForm
from regenplant.web.areas.setup.signed_versions import ApproveForm, WithdrawSignedForm
from regenplant.web.areas.setup.specification_form import SpecificationForm
from regenplant.web.areas.setup.versioned import NewHeadForm
from regenplant.web.areas.setup.versions import CompareForm, WithdrawForm
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, signing, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


@pytest.fixture
def lot(plant: SmallPlant) -> ResinLot:
    return receive_new_lot(
        by=plant.by("supervisor"), code="R-1", resin_type_id=plant.types["sac_h"].pk, segregation_class="D", volume_m3=1.0,
        volume_form="Na", origin="delivered new",
    ).result  # fmt: skip


PAGES = [
    ("setup", []), ("setup-plant", []), ("setup-plant-change", []), ("setup-plant-feed", []), ("setup-vessels", []), ("setup-vessel-new", []),
    ("setup-vessel", ["C1"]), ("setup-vessel-change", ["C1"]), ("setup-vessel-lock-out", ["C1"]), ("setup-vessel-lift", ["C1"]),
    ("setup-vessel-clean-down", ["C1"]), ("setup-supplies", []), ("setup-skid-new", []), ("setup-skid", ["AS"]),
    ("setup-skid-lock-out", ["AS"]), ("setup-skid-lift", ["AS"]), ("setup-water", ["raw"]), ("setup-waste-new", []),
    ("setup-terminals", []), ("setup-terminal-name", []), ("setup-waste", ["N1"]), ("setup-waste-level", ["N1"]), ("setup-instruments", []), ("setup-instrument-new", []),
    ("setup-instrument", ["CELL"]), ("setup-instrument-change", ["CELL"]), ("setup-instrument-calibration", ["CELL"]),
    ("setup-instrument-out", ["CELL"]), ("setup-instrument-impact", ["CELL"]),
    ("setup-resins", []), ("setup-resin-new", []), ("setup-resin", ["T-SAC_H"]), ("setup-resin-change", ["T-SAC_H"]),
    ("setup-lots", []), ("setup-lot-new", []), ("setup-lot", ["R-1"]), ("setup-lot-scrap", ["R-1"]), ("setup-recipes", []),
    ("setup-recipe-new", []), ("setup-recipe", ["H-HCL-100"]), ("setup-recipe-version", ["H-HCL-100", 1]),
    ("setup-recipe-draft", ["H-HCL-100"]), ("setup-recipe-compare", ["H-HCL-100"]), ("setup-recipe-approve", ["H-HCL-100", 1]),
    ("setup-recipe-withdraw", ["H-HCL-100", 1]), ("setup-specifications", []), ("setup-grades", []), ("setup-products", []), ("setup-product-new", []), ("setup-specification-new", []),
    ("setup-specification", ["Q-H"]), ("setup-specification-version", ["Q-H", 1]), ("setup-specification-draft", ["Q-H"]),
    ("setup-specification-compare", ["Q-H"]), ("setup-specification-approve", ["Q-H", 1]),
    ("setup-specification-withdraw", ["Q-H", 1]), ("setup-people", []), ("setup-person-new", []),
    ("setup-person-deactivate", ["operator-1"]),
]  # fmt: skip


# --- reading ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("who", ["operator", "planner", "supervisor", "administrator"])
def test_everybody_reads_the_set_up(
    plant: SmallPlant, lot: ResinLot, as_: Callable[[str], Client], who: str
) -> None:
    client = as_(who)
    for name, arguments in PAGES:
        assert client.get(reverse(name, args=arguments)).status_code == 200, name


def test_a_stranger_is_led_to_the_sign_in_page(client: Client, plant: SmallPlant, lot: ResinLot) -> None:
    for name, arguments in PAGES:
        answer = client.get(reverse(name, args=arguments))
        assert answer.status_code == 302 and reverse("sign-in") in answer["Location"], name


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("setup-vessel", ["NONE"]), ("setup-skid", ["NONE"]), ("setup-water", ["sea"]), ("setup-waste", ["NONE"]),
        ("setup-instrument", ["NONE"]), ("setup-resin", ["NONE"]), ("setup-lot", ["NONE"]), ("setup-recipe", ["NONE"]),
        ("setup-recipe-version", ["H-HCL-100", 99]), ("setup-specification-version", ["Q-H", 99]),
        ("setup-person-deactivate", ["nobody"]), ("setup-vessel", ["C1'); DROP TABLE"]),
    ],
)  # fmt: skip
def test_what_is_not_there_is_not_found(
    plant: SmallPlant, as_: Callable[[str], Client], name: str, arguments: list[Any]
) -> None:
    assert as_("supervisor").get(reverse(name, args=arguments)).status_code == 404


def test_codes_in_addresses_are_found_in_any_case(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    assert "Vessel C1" in text_of(as_("operator").get("/setup/vessels/c1/"))


def test_the_overview_says_what_needs_a_person(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    shown = text_of(as_("supervisor").get(reverse("setup")))
    assert "OLD-CELL: calibration is due, so readings prove nothing." in shown
    assert "1 area needs a person: instruments." in shown


def test_both_unit_systems_stand_on_a_vessel(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    shown = text_of(as_("operator").get(reverse("setup-vessel", args=["C1"])))
    assert "450.0 L · 15.89 ft³" in shown and "0.700 m · 27.6 in" in shown


def test_a_grey_button_says_who_may(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    shown = text_of(as_("planner").get(reverse("setup-vessel", args=["C1"])))
    assert "Changing its settings: This takes a supervisor or administrator." in shown
    assert (
        reverse("setup-vessel-change", args=["C1"])
        not in as_("planner").get(reverse("setup-vessel", args=["C1"])).content.decode()
    )


# --- vessels ----------------------------------------------------------------------------------------------------------
def vessel_form(client: Client, url: str) -> dict[str, Any]:
    form = client.get(url).context["form"]
    assert isinstance(form, VesselForm)
    return form_data(form)


def test_a_vessel_is_added_in_the_units_people_write(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    data = {
        "code": "c9", "name": "New vessel", "internal_diameter_m": "36 in", "straight_height_m": "8 ft", "bed_volume_min_m3": "15 ft3",
        "bed_volume_max_m3": "30 ft3", "max_flow_m3_per_s": "70 gpm", "lining": "", "families": ["sac_h"],
        "segregation_classes": ["D"], "is_active": "on",
    }  # fmt: skip
    answer = as_("supervisor").post(reverse("setup-vessel-new"), data)
    assert answer.status_code == 302 and answer["Location"] == reverse("setup-vessel", args=["C9"])
    made = Vessel.objects.get(code="C9")
    assert made.internal_diameter_m == pytest.approx(0.9144) and made.bed_volume_max_m3 == pytest.approx(
        0.84951, rel=1e-4
    )


def test_opening_and_writing_a_form_rounds_nothing(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    """Shown numbers are rounded; what is left alone keeps its stored value to the last digit."""
    Vessel.objects.filter(code="C1").update(internal_diameter_m=0.7112345678)
    client, url = as_("supervisor"), reverse("setup-vessel-change", args=["C1"])
    data = vessel_form(client, url) | {"name": "Renamed"}
    assert data["internal_diameter_m"] == "0.711 m"
    assert client.post(url, data).status_code == 302
    stored = Vessel.objects.get(code="C1")
    assert (stored.name, stored.internal_diameter_m) == ("Renamed", 0.7112345678)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", "", "Nothing is written here yet"),
        ("name", "x" * 81, "81 characters are written, at most 80"),
        ("internal_diameter_m", "wide", "is not a number with a unit"),
        ("internal_diameter_m", "3 kg", "is not a length"),
        ("internal_diameter_m", "-1 m", "cannot be a length"),
        ("internal_diameter_m", "40 m", "Inside diameter is 40"),
        ("internal_diameter_m", "1e9 m", "cannot be a length"),
        ("internal_diameter_m", "1,416 m", "can be read in two ways"),
        ("bed_volume_max_m3", "90000 L", "cannot be a resin volume"),
        ("bed_volume_min_m3", "2000 L", "at most at the largest bed"),
        ("families", [], "Nothing is written here yet"),
        ("families", ["carbon"], "is no choice here"),
        ("segregation_classes", ["X"], "is no choice here"),
    ],
)
def test_a_bad_vessel_is_refused_beside_its_field_and_nothing_is_lost(
    plant: SmallPlant, as_: Callable[[str], Client], field: str, value: Any, words: str
) -> None:
    client, url = as_("supervisor"), reverse("setup-vessel-change", args=["C1"])
    data = vessel_form(client, url) | {"lining": "kept words", field: value}
    answer = client.post(url, data)
    assert answer.status_code == 422
    assert words in " ".join(errors_of(answer)[field]), errors_of(answer)
    assert "kept words" in answer.content.decode()
    assert Vessel.objects.get(code="C1").version == 1


def test_a_planner_writes_no_vessel(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("planner"), reverse("setup-vessel-change", args=["C1"])
    answer = client.post(url, vessel_form(client, url) | {"name": "Mine"})
    assert answer.status_code == 403 and "may not do this" in text_of(answer)
    assert Vessel.objects.get(code="C1").name == "Vessel C1"


@pytest.mark.requirement("ER-22")
def test_the_second_of_two_writers_is_told(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-vessel-change", args=["C1"])
    data = vessel_form(client, url)
    assert client.post(url, data | {"name": "First"}).status_code == 302
    answer = client.post(url, data | {"name": "Second"})
    assert answer.status_code == 409
    shown = text_of(answer)
    assert (
        "C1 was changed since you opened it" in shown
        and "Open its present state" in shown
        and "Second" in answer.content.decode()
    )


def test_a_vessel_is_locked_out_and_lifted(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    operator = as_("operator")
    url = reverse("setup-vessel-lock-out", args=["C1"])
    form = operator.get(url).context["form"]
    assert isinstance(form, LockOutForm)
    assert "It locks nothing" in text_of(operator.get(url))
    short = operator.post(url, form_data(form) | {"number": "L-1", "reason": "x"})
    assert short.status_code == 422 and "at least 5 characters" in errors_of(short)["reason"][0]
    operator.post(url, form_data(form) | {"number": "L-1", "reason": "Strainer change"})
    assert "Strainer change" in text_of(operator.get(reverse("setup-vessel", args=["C1"])))
    lift = reverse("setup-vessel-lift", args=["C1"])
    form = operator.get(lift).context["form"]
    assert isinstance(form, LiftForm)
    other = as_("operator 2").post(lift, form_data(form) | {"checked": "Nobody inside, tools out"})
    assert other.status_code == 403
    operator.post(lift, form_data(form) | {"checked": "Nobody inside, tools out"})
    assert not Vessel.objects.get(code="C1").is_locked_out


def test_a_clean_down_is_written(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    url = reverse("setup-vessel-clean-down", args=["C1"])
    assert isinstance(as_("operator").get(url).context["form"], CleanDownForm)
    assert as_("operator").post(url, {"note": "Flushed to 2 µS/cm, looked in"}).status_code == 302
    assert as_("planner").post(url, {"note": "Flushed to 2 µS/cm, looked in"}).status_code == 403


def test_listings_sort_and_export(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client = as_("operator")
    first = text_of(client.get(reverse("setup-vessels") + "?sort=-code"))
    assert first.index("S1") < first.index("A1")
    answer = client.get(reverse("setup-vessels") + "?_export=csv")
    rows = answer.content.decode("utf-8-sig").splitlines()
    assert (
        rows[0].startswith("Code,Name,Made for")
        and len(rows) == 5
        and "C1,Vessel C1,SAC-H,D,200.0,450.0,in use" in rows
    )
    assert client.get(reverse("setup-lots") + "?_export=xlsx").status_code == 200


# --- supplies ---------------------------------------------------------------------------------------------------------
def test_a_skid_goes_its_way(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client = as_("supervisor")
    assert isinstance(client.get(reverse("setup-skid-new")).context["form"], SkidForm)
    data = {"code": "K9", "name": "Spare", "chemical": "naoh", "flow_min_m3_per_s": "5 L/min", "flow_max_m3_per_s": "100 L/min",
            "heater_max_temperature_kelvin": "140 F", "is_active": "on"}  # fmt: skip
    assert client.post(reverse("setup-skid-new"), data).status_code == 302
    skid = Skid.objects.get(code="K9")
    assert skid.heater_max_temperature_kelvin == pytest.approx(333.15)
    bad = client.post(reverse("setup-skid-new"), data | {"code": "K10", "flow_min_m3_per_s": "200 L/min"})
    assert "at most at the largest" in errors_of(bad)["flow_min_m3_per_s"][0]
    url = reverse("setup-skid-lock-out", args=["K9"])
    assert isinstance(client.get(url).context["form"], SkidLockOutForm)
    client.post(url, {"reason": "Pump leaks", "version": "1"})
    assert Skid.objects.get(code="K9").lock_out_reason == "Pump leaks"
    client.post(reverse("setup-skid-lift", args=["K9"]), {"checked": "New seal, ran dry", "version": "2"})
    assert Skid.objects.get(code="K9").lock_out_reason == ""


def test_a_water_is_measured(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("operator"), reverse("setup-water", args=["raw"])
    form = client.get(url).context["form"]
    assert isinstance(form, WaterForm)
    assert (
        client.post(
            url, form_data(form) | {"temperature_kelvin": "46 F", "hardness_kg_per_m3": "12 gr/gal"}
        ).status_code
        == 302
    )
    water = WaterSupply.objects.get(kind="raw")
    assert water.temperature_kelvin == pytest.approx(
        280.928, abs=0.01
    ) and water.hardness_kg_per_m3 == pytest.approx(0.2054, abs=1e-3)
    ice = client.post(url, form_data(form) | {"temperature_kelvin": "-2 C"})
    assert "temperature is −2.0" in errors_of(ice)["temperature_kelvin"][0]


def test_the_waste_level_and_its_tank(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("operator"), reverse("setup-waste-level", args=["N1"])
    form = client.get(url).context["form"]
    assert isinstance(form, WasteLevelForm)
    assert (
        "The tank holds no more"
        in errors_of(client.post(url, form_data(form) | {"level_m3": "401 m3"}))["level_m3"][0]
    )
    assert client.post(url, form_data(form) | {"level_m3": "3000 gal"}).status_code == 302
    assert WasteTank.objects.get().level_m3 == pytest.approx(11.3562, abs=1e-3)
    supervisor, tank_url = as_("supervisor"), reverse("setup-waste", args=["N1"])
    tank_form = supervisor.get(tank_url).context["form"]
    assert isinstance(tank_form, WasteTankForm)
    assert (
        "Write the level first"
        in errors_of(supervisor.post(tank_url, form_data(tank_form) | {"capacity_m3": "9 m3"}))[
            "capacity_m3"
        ][0]
    )


# --- instruments ------------------------------------------------------------------------------------------------------
def test_an_overdue_instrument_stands_out(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    answer = as_("qc").get(reverse("setup-instruments"))
    assert "OLD-CELL: calibration is due" in text_of(answer) and '<tr class="off' in answer.content.decode()
    assert "Calibration has been due for" in text_of(
        as_("qc").get(reverse("setup-instrument", args=["OLD-CELL"]))
    )


def test_a_calibration_is_written_by_qc(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    url, today = reverse("setup-instrument-calibration", args=["OLD-CELL"]), timezone.localdate()
    form = as_("qc").get(url).context["form"]
    assert isinstance(form, CalibrationForm)
    data = form_data(form) | {
        "calibrated_on": str(today),
        "due_on": str(today + timedelta(days=180)),
        "without_points": "on",
        "laboratory": "Moorhen Bench Laboratory",
        "certificate": "MB 77",
    }
    assert as_("operator").post(url, data).status_code == 403
    assert "This is no day" in errors_of(as_("qc").post(url, data | {"due_on": "next year"}))["due_on"][0]
    assert "not after" in errors_of(as_("qc").post(url, data | {"due_on": str(today)}))["due_on"][0]
    assert as_("qc").post(url, data).status_code == 302
    assert Instrument.objects.get(code="OLD-CELL").calibrated_on == today


def test_an_instrument_is_added_and_a_cell_says_how_it_compensates(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client, url = as_("supervisor"), reverse("setup-instrument-new")
    assert isinstance(client.get(url).context["form"], InstrumentForm)
    data = {
        "code": "CE-9",
        "name": "Cell",
        "kind": "conductivity",
        "uncertainty_frac": "2 %",
        "compensation": "",
        "is_active": "on",
    }
    assert "how its meter compensates" in errors_of(client.post(url, data))["compensation"][0]
    assert (
        client.post(url, data | {"compensation": "neutral", "cell_constant_per_cm": "0.01"}).status_code
        == 302
    )
    assert Instrument.objects.get(code="CE-9").uncertainty_frac == pytest.approx(0.02)


# --- plant ------------------------------------------------------------------------------------------------------------
def test_the_profile_is_changed_by_the_administrator(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("administrator"), reverse("setup-plant-change")
    form = client.get(url).context["form"]
    assert isinstance(form, ProfileForm)
    data = form_data(form) | {"call_text": "Plant emergency 555", "time_zone": "America/Chicago"}
    assert "not known" in errors_of(client.post(url, data | {"time_zone": "Chicago"}))["time_zone"][0]
    assert "1 and 31" not in text_of(client.get(url))
    assert client.post(url, data).status_code == 302
    assert PlantProfile.objects.get().time_zone == "America/Chicago"


# --- resins -----------------------------------------------------------------------------------------------------------
def test_a_resin_type_is_added_and_keeps_its_identity(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client, url = as_("supervisor"), reverse("setup-resin-new")
    assert isinstance(client.get(url).context["form"], ResinTypeForm)
    data = {"code": "SAC-10", "description": "Gel cation", "family": "sac_h", "grade": "working", "total_capacity_eq_per_m3": "1.9 eq/L",
            "operating_capacity_eq_per_m3": "24 kgr/ft3", "bead_diameter_m": "0.7 mm", "bead_density_kg_per_m3": "1.28 g/mL",
            "settled_void_frac": "38 %", "swelling_frac": "7 %", "max_temperature_kelvin": "120 C", "is_active": "on",
            "bead_diameter_spread_frac": "12 %", "bead_density_spread_kg_per_m3": "4 kg/m3"}  # fmt: skip
    assert client.post(url, data).status_code == 302
    made = ResinType.objects.get(code="SAC-10")
    assert made.operating_capacity_eq_per_m3 == pytest.approx(
        1097.4, rel=1e-3
    )  # 1 eq/L is 21.87 kgr/ft³ (Michaud, read)
    change = reverse("setup-resin-change", args=["SAC-10"])
    form = client.get(change).context["form"]
    client.post(change, form_data(form) | {"family": "sba_1", "description": "Other words"})
    made.refresh_from_db()
    assert (made.family, made.description) == ("sac_h", "Other words")


def test_lots_are_found_filtered_received_and_scrapped(
    plant: SmallPlant, lot: ResinLot, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    assert "R-1" in text_of(client.get(reverse("setup-lots") + "?q=r-1&resin=T-SAC_H"))
    assert "No resin lot fits" in text_of(client.get(reverse("setup-lots") + "?q=nothing"))
    url = reverse("setup-lot-new")
    assert isinstance(client.get(url).context["form"], NewLotForm)
    data = {"code": "R-2", "resin_type": lot.resin_type_id, "segregation_class": "D", "volume_m3": "30 ft3", "volume_form": "OH",
            "origin": "delivered new", "cycles": "0"}  # fmt: skip
    assert "is not counted in the form" in errors_of(client.post(url, data))["volume_form"][0]
    assert client.post(url, data | {"volume_form": "H"}).status_code == 302
    scrap = reverse("setup-lot-scrap", args=["R-1"])
    assert isinstance(client.get(scrap).context["form"], ScrapForm)
    assert as_("operator").post(scrap, {"reason": "Oxidized, soft beads"}).status_code == 403
    client.post(scrap, {"reason": "Oxidized, soft beads"})
    assert ResinLot.objects.get(code="R-1").is_scrapped


def test_a_lot_shows_where_its_resin_came_from(
    plant: SmallPlant, lot: ResinLot, as_: Callable[[str], Client]
) -> None:
    mix_lot(
        by=plant.by(), code="R-3", resin_type_id=lot.resin_type_id, segregation_class="D", volume_m3=0.9, volume_form="H",
        origin="made by batch B-1", parents=[(lot.pk, 0.75)], cycles=1, capacity_factor=1.0,
    )  # fmt: skip
    answer = as_("planner").get(reverse("setup-lot", args=["R-3"]))
    assert "25.0 % of it is of unrecorded origin." in text_of(answer)
    assert "came from 75 % R-1" in answer.content.decode().replace("\u00a0", " ")


# --- recipes ----------------------------------------------------------------------------------------------------------
def recipe_data(client: Client, url: str) -> dict[str, Any]:
    form = client.get(url).context["form"]
    assert isinstance(form, RecipeForm)
    return form_data(form) | {"reason": "Leakage trend"}


@pytest.fixture
def draft(plant: SmallPlant, as_: Callable[[str], Client]) -> RecipeVersion:
    """Version 2 with another dose, written by the supervisor through the page."""
    client, url = as_("supervisor"), reverse("setup-recipe-draft", args=["H-HCL-100"])
    data = recipe_data(client, url)
    data |= {
        "s3_dose_kg_per_m3_target": "6.5 lb/ft3",
        "s3_dose_kg_per_m3_low": "98 g/L",
        "s3_dose_kg_per_m3_high": "112 g/L",
    }
    assert client.post(url, data).status_code == 302
    return RecipeVersion.objects.get(recipe__code="H-HCL-100", number=2)


def test_a_new_version_keeps_everything_that_was_left_alone(plant: SmallPlant, draft: RecipeVersion) -> None:
    old, new = recipe_definition(plant.recipe["sac_h"]), recipe_definition(draft)
    assert new.steps[3].settings["dose_kg_per_m3"].target == pytest.approx(104.1, abs=0.1)
    assert new.steps[:3] == old.steps[:3] and new.steps[4:] == old.steps[4:]
    assert {
        key for key in new.steps[3].settings if new.steps[3].settings[key] != old.steps[3].settings[key]
    } == {"dose_kg_per_m3"}


def test_the_version_page_shows_steps_in_both_systems_and_what_changed(
    plant: SmallPlant, draft: RecipeVersion, as_: Callable[[str], Client]
) -> None:
    shown = text_of(as_("operator").get(reverse("setup-recipe", args=["H-HCL-100"])))
    assert (
        "H-HCL-100, version 2" in shown
        and "104 g/L · 6.50 lb/ft³" in shown
        and "98.0 to 112 g/L · 6.12 to 6.99 lb/ft³" in shown
    )
    assert "100 g/L, from 95.0 to 110 g/L" in shown and "Do not stop here" in shown


def test_a_recipe_says_each_thing_once(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    """A mixed bed carries its grade in its name, a step of a leg the leg in its own, and a sentence ends once."""
    definition = next(one for one in default_recipes() if one.code == "MB-APART-110")
    recipe = factories.approved_recipe(plant, definition).recipe
    shown = text_of(as_("operator").get(reverse("setup-recipe", args=[recipe.code])))
    assert "For Mixed bed, working grade Version" in shown and "grade working" not in shown
    assert "Displacement rinse, cation leg deionized water" in shown
    assert "Ends when: The readings fall no faster; then the loop closes. Flow" in shown


@pytest.mark.requirement("ER-05", "ER-06", "ER-18")
def test_another_person_approves(
    plant: SmallPlant, draft: RecipeVersion, as_: Callable[[str], Client]
) -> None:
    url = reverse("setup-recipe-approve", args=["H-HCL-100", 2])
    assert isinstance(as_("qc").get(url).context["form"], ApproveForm)
    own = as_("supervisor").post(url, {})
    assert own.status_code == 403 and "another person must approve it" in text_of(own)
    assert as_("operator").post(url, {}).status_code == 403
    assert "You wrote this version" in text_of(
        as_("supervisor").get(reverse("setup-recipe", args=["H-HCL-100"]))
    )
    assert as_("qc").post(url, {}).status_code == 422, "nothing is approved without a password"
    sent = signing(plant.people["qc"], 2)
    past = as_("qc").post(url, {**sent, "effective_from": "2020-01-01T00:00"})
    assert "which is past" in errors_of(past)["effective_from"][0]
    assert as_("qc").post(url, {**sent, "password": "another"}).status_code == 422
    draft.refresh_from_db()
    assert draft.state == "draft" and draft.signature is None
    assert as_("qc").post(url, sent).status_code == 302
    again = as_("qc 2").post(url, signing(plant.people["qc 2"], 2))
    assert "approved already" in text_of(again)
    draft.refresh_from_db()
    assert draft.approved_by == plant.people["qc"]
    signature = draft.signature
    assert signature is not None and signature.meaning == "approval of recipe H-HCL-100 version 2"
    shown = text_of(as_("operator").get(reverse("setup-recipe-version", args=["H-HCL-100", 2])))
    short = f"{signature.digest[:4]} {signature.digest[4:8]}"
    for words in (f"{signature.printed_name}, {signature.roles}", signature.meaning, short):
        assert words in shown
    compared = text_of(
        as_("operator").get(reverse("setup-recipe-compare", args=["H-HCL-100"]), {"old": 1, "new": 2})
    )
    assert "Version 1, approval" in compared and "Version 2, approval" in compared and short in compared


def test_a_version_is_withdrawn_with_a_reason(
    plant: SmallPlant, draft: RecipeVersion, as_: Callable[[str], Client]
) -> None:
    url = reverse("setup-recipe-withdraw", args=["H-HCL-100", 2])
    assert isinstance(as_("qc").get(url).context["form"], WithdrawForm)
    assert "at least 5 characters" in errors_of(as_("qc").post(url, {"reason": "no"}))["reason"][0]
    as_("qc").post(url, {"reason": "Not needed any more"})
    draft.refresh_from_db()
    assert draft.state == "withdrawn" and draft.withdrawal_signature is None


def test_an_approved_version_is_withdrawn_with_a_signature(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    url = reverse("setup-recipe-withdraw", args=["H-HCL-100", 1])
    assert isinstance(as_("qc").get(url).context["form"], WithdrawSignedForm)
    why = {"reason": "Leaks more than it should"}
    assert as_("qc").post(url, why).status_code == 422
    assert as_("qc").post(url, {**signing(plant.people["qc"]), **why}).status_code == 302
    version = RecipeVersion.objects.get(recipe__code="H-HCL-100", number=1)
    assert version.state == "withdrawn" and version.withdrawal_signature is not None
    shown = text_of(as_("operator").get(reverse("setup-recipe-version", args=["H-HCL-100", 1])))
    assert "Withdrawal Withdrawn by" in shown and "withdrawal of recipe H-HCL-100 version 1" in shown


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("reason", "", "Nothing is written here yet"),
        ("s3_dose_kg_per_m3_target", "200 g/L", "does not lie between least"),
        ("s3_strength_frac_target", "5 L", "is not a strength"),
        ("s3_temperature_kelvin_low", "hot", "is not a number"),
        ("s1_water", "sea", "is no choice here"),
        ("s3_chemical", "bleach", "is no choice here"),
        ("s3_stands_at", "zero", "is no whole number"),
        ("limit_gypsum_index_warn", "a lot", "is not a number"),
        ("s0_name", "", "Nothing is written here yet"),
    ],
)
def test_a_bad_recipe_is_refused_beside_its_field(
    plant: SmallPlant, as_: Callable[[str], Client], field: str, value: str, words: str
) -> None:
    client, url = as_("supervisor"), reverse("setup-recipe-draft", args=["H-HCL-100"])
    answer = client.post(url, recipe_data(client, url) | {"notes": "kept words", field: value})
    assert answer.status_code == 422 and words in " ".join(errors_of(answer)[field])
    assert "kept words" in answer.content.decode()
    assert RecipeVersion.objects.filter(recipe__code="H-HCL-100").count() == 1


def test_leaving_displacement_out_is_refused(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-recipe-draft", args=["H-HCL-100"])
    answer = client.post(url, recipe_data(client, url) | {"s4_leave_out": "on"})
    assert answer.status_code == 422 and "chemical never stays in the bed" in text_of(answer)


def test_steps_are_moved_and_limits_written(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-recipe-draft", args=["H-HCL-100"])
    data = recipe_data(client, url) | {
        "s2_stands_at": "2",
        "limit_gypsum_index_warn": "0.3",
        "grades": "working, first",
    }
    assert client.post(url, data).status_code == 302
    written = recipe_definition(RecipeVersion.objects.get(recipe__code="H-HCL-100", number=2))
    assert [step.kind.value for step in written.steps][:3] == ["load", "settle", "backwash"]
    assert written.limits == {"gypsum_index_warn": 0.3} and written.grades == ("working", "first")
    shown = text_of(client.get(reverse("setup-recipe", args=["H-HCL-100"])))
    assert "Gypsum saturation index that warns" in shown and "working, first" in shown


def test_a_step_is_put_in_without_a_script(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-recipe-draft", args=["H-HCL-100"])
    data = recipe_data(client, url) | {
        "act": "put_in",
        "put_in": "settle",
        "put_in_after": "1",
        "notes": "kept words",
    }
    shown = client.post(url, data)
    assert shown.status_code == 200 and RecipeVersion.objects.filter(recipe__code="H-HCL-100").count() == 1
    form = shown.context["form"]
    assert [kind.value for kind in form.step_kinds][:4] == ["load", "settle", "backwash", "settle"]
    again = form_data(form) | {
        "s1_duration_s_target": "6 min",
        "s1_duration_s_low": "3 min",
        "s1_duration_s_high": "9 min",
    }
    assert again["notes"] == "kept words"
    assert client.post(url, again).status_code == 302
    steps = recipe_definition(RecipeVersion.objects.get(recipe__code="H-HCL-100", number=2)).steps
    assert len(steps) == 8 and steps[1].settings["duration_s"].target == 360.0


def test_a_new_recipe_begins_with_another(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client = as_("qc")
    begin = text_of(client.get(reverse("setup-recipe-new")))
    assert "New recipe Choose what it begins with." in begin and "NA-NACL-160" in begin
    url = reverse("setup-recipe-new") + "?from=NA-NACL-160"
    page = client.get(url)
    assert isinstance(page.context["head"], NewHeadForm)
    data = form_data(page.context["form"]) | {"code": "na 1", "grade": "working", "reason": "A second way"}
    assert "no label carries" in errors_of(client.post(url, data))["__all__"][0]
    assert client.post(url, data | {"code": "na-1"}).status_code == 302
    assert Recipe.objects.get(code="NA-1").versions.get().state == "draft"


def test_two_versions_are_held_side_by_side(
    plant: SmallPlant, draft: RecipeVersion, as_: Callable[[str], Client]
) -> None:
    url = reverse("setup-recipe-compare", args=["H-HCL-100"])
    assert isinstance(as_("planner").get(url).context["form"], CompareForm)
    assert "Acid injection" in text_of(as_("planner").get(url + "?old=1&new=2"))
    assert "Nothing differs" in text_of(as_("planner").get(url + "?old=1&new=1"))
    assert as_("planner").get(url + "?old=77&new=1").status_code == 200


# --- specifications ---------------------------------------------------------------------------------------------------
def test_a_specification_goes_its_way(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-specification-draft", args=["Q-H"])
    form = client.get(url).context["form"]
    assert isinstance(form, SpecificationForm)
    data = form_data(form) | {"reason": "Customers ask for less"}
    upside_down = client.post(url, data | {"conductivity_low": "90 µS/cm"})
    assert "lies above at most" in errors_of(upside_down)["conductivity_low"][0]
    none = client.post(url, data | {"conductivity_high": "", "hardness_high": ""})
    assert none.status_code == 422 and "has no limit" in text_of(none)
    assert (
        client.post(url, data | {"conductivity_high": "40 µS/cm", "silica_high": "0.3 mg/L"}).status_code
        == 302
    )
    version = SpecificationVersion.objects.get(specification__code="Q-H", number=2)
    limits = {limit.measurement: limit.high for limit in specification_definition(version).limits}
    assert limits["conductivity"] == pytest.approx(4e-3) and limits["silica"] == pytest.approx(3e-4)
    shown = text_of(client.get(reverse("setup-specification", args=["Q-H"])))
    assert "at most 40 µS/cm · 0.025 MΩ·cm" in shown and "not there" in shown
    assert as_("operator").post(url, data).status_code == 403
    approve = reverse("setup-specification-approve", args=["Q-H", 2])
    assert "another person" in text_of(client.post(approve, {}))
    assert as_("qc").post(approve, signing(plant.people["qc"], 2)).status_code == 302


def test_a_new_specification_begins_with_another(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-specification-new") + "?from=Q-OH1"
    data = form_data(client.get(url).context["form"]) | {
        "code": "Q-OH9",
        "grade": "working",
        "reason": "For one customer",
    }
    assert client.post(url, data).status_code == 302
    assert Specification.objects.get(code="Q-OH9").family == "sba_1"


def test_a_content_that_was_altered_is_cried_out(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    added = recipe_services.draft_recipe_version(
        by=plant.by("supervisor"), recipe_id=plant.recipe["sac_na"].recipe_id, reason="second",
        definition=replace(recipe_definition(plant.recipe["sac_na"]), notes="other"),
    ).result  # fmt: skip
    RecipeVersion.objects.filter(pk=added.pk).update(digest="0" * 64)
    assert "no longer fits its digest" in text_of(
        as_("operator").get(reverse("setup-recipe", args=["NA-NACL-160"]))
    )


# --- people -----------------------------------------------------------------------------------------------------------
NEW = {
    "username": "n.quill",
    "full_name": "N. Quill",
    "initials": "NQ",
    "roles": ["operator"],
    "password": "a password for Quill 7",
}


def test_an_administrator_adds_a_person_and_closes_the_account(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client, url = as_("administrator"), reverse("setup-person-new")
    assert isinstance(client.get(url).context["form"], PersonForm)
    assert client.post(url, NEW).status_code == 302
    person = Person.objects.get(username="n.quill")
    assert person.role_names() == ("operator",) and person.check_password("a password for Quill 7")
    close = reverse("setup-person-deactivate", args=["n.quill"])
    assert isinstance(client.get(close).context["form"], WhyForm)
    client.post(close, {"reason": "Left the plant"})
    assert not Person.objects.get(username="n.quill").is_active


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"username": ""}, "username"),
        ({"username": "operator-1"}, "username"),
        ({"username": "n quill"}, "username"),
        ({"password": "short"}, "password"),
        ({"initials": "TOOLONG"}, "initials"),
        ({"roles": ["king"]}, "roles"),
    ],
)
def test_a_person_that_cannot_be_is_refused(
    plant: SmallPlant, as_: Callable[[str], Client], change: dict[str, Any], field: str
) -> None:
    answer = as_("administrator").post(reverse("setup-person-new"), NEW | change)
    assert answer.status_code == 422 and field in errors_of(answer)
    assert "a password for Quill" not in answer.content.decode()


def test_nobody_else_adds_people_and_nobody_closes_the_own_account(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    assert as_("supervisor").post(reverse("setup-person-new"), NEW).status_code == 403
    assert "Close account" not in text_of(as_("supervisor").get(reverse("setup-people")))
    own = as_("administrator").post(
        reverse("setup-person-deactivate", args=["administrator-1"]), {"reason": "Leaving now"}
    )
    assert "Nobody deactivates their own account" in text_of(own)
