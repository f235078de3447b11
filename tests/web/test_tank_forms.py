"""The forms of the dock and of the tank pages: what each hands to its service, in SI, and which fields it insists on."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from regenplant.core.process.intake import OxidizerStrip, ShellCondition, WaterColour
from regenplant.tanks import services
from regenplant.tanks.models import Tank
from regenplant.web.areas.intake.forms import LookForm, ReceiveForm, UnknownForm, VerdictForm
from regenplant.web.areas.tanks.forms import (
    ChangeForm,
    CustomerForm,
    FilterForm,
    ShellForm,
    ShipForm,
    SiteForm,
    TankForm,
)
from tests import factories

pytestmark = pytest.mark.django_db
LB, CUBIC_FOOT = 0.45359237, 0.028316846592
"""kg and m^3, exact by the international definitions of pound and foot."""


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.tank_plant()


@pytest.fixture
def tank(plant) -> Tank:
    return services.add_tank(
        by=plant.by("planner"),
        size_id=plant.size.pk,
        resin_type_id=plant.types["sac_h"].pk,
        segregation_class="D",
    ).result


def in_order(form):
    assert form.is_valid(), form.errors
    return form


def missing(form) -> set[str]:
    """The fields that an empty form insists on."""
    assert not form.is_valid()
    return set(form.errors)


# --- the dock -----------------------------------------------------------------------------------------------------------
def receive_data(plant, **changed):
    return {"customer": plant.customer.pk, "return_reason": "leak", "resin_volume": "3.5"} | changed


@pytest.mark.parametrize(("system", "volume_m3"), [("metric", 0.0035), ("us", 3.5 * CUBIC_FOOT)])
def test_a_bare_number_is_read_in_the_persons_own_unit(plant, tank, system, volume_m3):
    form = in_order(ReceiveForm(receive_data(plant), tank=tank, system=system))
    assert form.arguments()["resin_volume_m3"] == pytest.approx(volume_m3, rel=1e-12)


def test_a_promise_is_read_in_the_plants_zone(plant, tank):
    with timezone.override(ZoneInfo("America/Chicago")):
        form = in_order(ReceiveForm(receive_data(plant, due_at="2026-03-12 07:00"), tank=tank))
    assert form.arguments()["due_at"] == datetime(2026, 3, 12, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize("due_at", ["2026-03-08 02:30", "2026-02-30 07:00", "12.03.2026", "7 am"])
def test_a_time_that_does_not_exist_is_refused(plant, tank, due_at):
    """2026-03-08 02:30 is skipped by the clock change in that zone."""
    with timezone.override(ZoneInfo("America/Chicago")):
        form = ReceiveForm(receive_data(plant, due_at=due_at), tank=tank)
        assert missing(form) == {"due_at"}


def test_receiving_proposes_the_usual_customer_and_volume(plant, tank):
    form = ReceiveForm(tank=tank, customer_id=plant.customer.pk)
    assert (form["customer"].value(), form["resin_volume"].value()) == (plant.customer.pk, "102.0 L")
    assert missing(ReceiveForm({}, tank=tank)) == {"customer", "return_reason", "resin_volume"}


def test_nothing_of_the_look_over_is_chosen_before_the_person_does():
    assert missing(LookForm({})) == {
        "version", "shell", "head_and_fittings", "odour", "water_colour", "oxidizer_strip",
    }  # fmt: skip
    assert all(LookForm()[name].value() is None for name in ("shell", "odour", "oxidizer_strip"))


def test_the_look_over_keeps_the_words_and_hands_on_si():
    form = in_order(
        LookForm(
            {
                "version": "3", "shell": "cracked", "head_and_fittings": "worn", "odour": "musty", "water_colour": "blue",
                "oxidizer_strip": "coloured", "first_drain_ph": "6,8", "weight": "288 lb", "note": " twice looked ",
            }
        )
    )  # fmt: skip
    seen = form.inspection()
    assert (seen.shell, seen.water_colour, seen.oxidizer_strip) == (
        ShellCondition.CRACKED,
        WaterColour.BLUE,
        OxidizerStrip.COLOURED,
    )
    assert (seen.first_drain_ph, seen.first_drain_ph_as_typed) == (6.8, "6,8")
    assert seen.weight_kg == pytest.approx(288 * LB, rel=1e-12) and seen.weight_as_typed == "288 lb"
    assert (form.shown_version, seen.note) == (3, "twice looked")


def test_not_measured_is_not_zero():
    data = {
        "version": "1", "shell": "sound", "head_and_fittings": "sound", "odour": "none", "water_colour": "clear",
        "oxidizer_strip": "none",
    }  # fmt: skip
    seen = in_order(LookForm(data)).inspection()
    assert (seen.first_drain_ph, seen.weight_kg) == (None, None)


@pytest.mark.parametrize(
    ("verdict", "letter"), [("accept D", "D"), ("accept A", "A"), ("hold", ""), ("refuse", "")]
)
def test_the_button_says_the_class(verdict, letter):
    assert in_order(VerdictForm({"version": "1", "verdict": verdict})).accepted_class == letter


@pytest.mark.parametrize("verdict", ["accept", "accept Q", "accept d", "hold D", "release", ""])
def test_no_other_verdict_is_understood(verdict):
    assert missing(VerdictForm({"version": "1", "verdict": verdict})) == {"verdict"}


def test_a_tank_without_a_record_needs_size_resin_customer_and_words(plant):
    assert missing(UnknownForm({})) == {"serial", "size", "resin_type", "customer", "what_is_seen"}


# --- tanks and customers ------------------------------------------------------------------------------------------------
def test_a_filter_that_is_not_understood_narrows_nothing(plant):
    form = FilterForm({"find": "moon", "family": "nonsense", "customer": "abc", "segregation_class": "D"})
    assert form.wanted() == {
        "text": "moon", "segregation_class": "D", "family": "", "state": "", "customer_id": None,
    }  # fmt: skip
    assert set(form.errors) == {"family", "customer"}


def test_registering_hands_on_no_volume_when_none_is_written(plant):
    data = {
        "serial": " T-1 ", "size": plant.size.pk, "resin_type": plant.types["sac_h"].pk, "segregation_class": "A",
        "dedicated_to": plant.customer.pk,
    }  # fmt: skip
    arguments = in_order(TankForm(data)).arguments()
    assert arguments["resin_volume_m3"] is None
    assert (arguments["serial"], arguments["dedicated_to_id"]) == ("T-1", plant.customer.pk)
    assert missing(TankForm({})) == {"serial", "size", "resin_type", "segregation_class"}


def test_opening_a_correction_does_not_round_the_record(plant, tank):
    """102.0 L is shown; what stands in the record may have more digits, and stays when nothing is typed."""
    tank.resin_volume_m3 = 0.101941
    shown = ChangeForm(tank=tank)
    data = {name: shown[name].value() for name in ("version", "resin_type", "resin_volume")} | {
        "reason": "new band"
    }
    assert data["resin_volume"] == "101.9 L"
    assert in_order(ChangeForm(data, tank=tank)).arguments()["resin_volume_m3"] == 0.101941


def test_shell_and_shipping_carry_the_version_that_was_shown():
    assert in_order(ShipForm({"version": "4"})).arguments() == {"version": 4}
    assert in_order(ShellForm({"version": "4", "is_sound": "no", "note": "crack"})).arguments() == {
        "version": 4, "is_sound": False, "note": "crack",
    }  # fmt: skip
    assert missing(ShipForm({})) == {"version"}
    assert missing(ShellForm({"version": "4"})) == {"is_sound"}


def test_customers_and_sites_hand_on_trimmed_words():
    arguments = in_order(CustomerForm({"code": " orb ", "name": " Orbit Laundry "})).arguments()
    assert arguments == {"code": "orb", "name": "Orbit Laundry", "contact": "", "declared_service": ""}
    assert in_order(SiteForm({"name": " Dock 9 "})).arguments() == {"name": "Dock 9", "address": ""}
    assert missing(CustomerForm({})) == {"code", "name"} and missing(SiteForm({})) == {"name"}
