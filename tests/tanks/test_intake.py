"""Receiving, looking over, and the verdict: allowed, and each refusal with its sentence."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.audit.selectors import story
from regenplant.core.errors import (
    DomainError,
    NotAllowed,
    OutOfRange,
    RecordRefused,
    StaleRecord,
    TransitionRefused,
)
from regenplant.core.process.intake import OxidizerStrip, ShellCondition, WaterColour
from regenplant.tanks import services
from regenplant.tanks.models import IntakeInspection, TankVisit
from tests.tanks.conftest import fresh, seen

pytestmark = pytest.mark.django_db
LONG = "tested twice, clean, written by the safety lead"


# --- receiving --------------------------------------------------------------------------------------------------------
def test_a_tank_is_received_with_its_resin_counted_in_the_exhausted_form(at_dock):
    visit = at_dock(family="sac_h")
    assert (visit.state, visit.resin_volume_form, visit.resin_volume_m3) == ("received", "Na", 0.102)
    assert visit.number.startswith("V-3")


def test_a_tank_that_is_here_is_not_received_twice(at_dock, plant):
    visit = at_dock()
    with pytest.raises(RecordRefused, match=rf"is here already: {visit.number}"):
        at_dock(tank=visit.tank)
    assert TankVisit.objects.count() == 1


def test_a_retired_tank_is_not_taken_in(make_tank, at_dock, plant):
    tank = make_tank()
    services.change_tank(
        by=plant.by("planner"), tank_id=tank.pk, version=1, reason="shell too old", resin_type_id=tank.resin_type_id,
        resin_volume_m3=tank.resin_volume_m3, is_retired=True,
    )  # fmt: skip
    with pytest.raises(RecordRefused, match="is retired"):
        at_dock(tank=tank)


@pytest.mark.parametrize(
    ("given", "field", "sentence"),
    [
        ({"return_reason": "bored"}, "return_reason", "Known are exhausted"),
        ({"resin_volume_m3": -0.1}, "resin_volume_m3", "must be above zero"),
        ({"resin_volume_m3": 0.2}, "resin_volume_m3", "at most 95% of the cylinder"),
        ({"resin_volume_m3": float("nan")}, "resin_volume_m3", "must be above zero"),
        ({"due_at": timedelta(minutes=-1)}, "due_at", "before now"),
        ({"due_at": timedelta(days=400)}, "due_at", "more than a year away"),
        ({"bay": "x" * 21}, "bay", "21 characters, at most 20"),
        ({"customer_words": "x" * 201}, "customer_words", "at most 200"),
        ({"customer_words": "a\x00b"}, "customer_words", "no paper can show"),
    ],
)
def test_a_wrong_entry_is_refused_beside_its_field_and_nothing_is_written(
    plant, make_tank, given, field, sentence
):
    tank = make_tank()
    arguments = {"return_reason": "exhausted"} | given
    if isinstance(arguments.get("due_at"), timedelta):
        arguments["due_at"] = plant.now + arguments["due_at"]
    with pytest.raises(DomainError, match=sentence) as refused:
        services.receive_tank(by=plant.by(), tank_id=tank.pk, customer_id=plant.customer.pk, **arguments)
    assert refused.value.field == field
    assert not TankVisit.objects.exists()


def test_a_site_of_another_customer_is_refused(plant, make_tank):
    other = services.add_customer(by=plant.by("planner"), code="ORB", name="Orbit Laundry").result
    site = services.add_site(by=plant.by("planner"), customer_id=other.pk, name="Dock 9").result
    with pytest.raises(RecordRefused, match="Dock 9 is no site of Moonbase"):
        services.receive_tank(
            by=plant.by(),
            tank_id=make_tank().pk,
            customer_id=plant.customer.pk,
            return_reason="leak",
            site_id=site.pk,
        )


def test_who_may_not_receive_is_told_and_nothing_is_written(plant, make_tank, by, outsider):
    with pytest.raises(NotAllowed):
        services.receive_tank(
            by=by(outsider), tank_id=make_tank().pk, customer_id=plant.customer.pk, return_reason="exhausted"
        )
    assert not TankVisit.objects.exists()


@pytest.mark.requirement("CS-02")
@pytest.mark.parametrize(
    "words", ["Nitric acid wash", "rinse after PERCHLORIC digestion", "has peroxide in it", "chrome plating"]
)
def test_a_tank_from_a_forbidden_service_is_quarantined_when_it_comes_in(at_dock, words):
    """CS-02: the declared service names an oxidizer (or metals)."""
    visit = at_dock(words=words)
    assert visit.state == "held"
    assert "declared service names" in visit.reason


def test_a_dedicated_tank_from_another_customer_is_held(at_dock, plant, make_tank):
    other = services.add_customer(by=plant.by("planner"), code="ORB", name="Orbit Laundry").result
    visit = at_dock(tank=make_tank(segregation_class="A"), customer=other)
    assert (visit.state, visit.reason) == (
        "held",
        "It is dedicated to Moonbase Test Kitchen and came from Orbit Laundry.",
    )


def test_an_unknown_tank_gets_a_serial_class_e_and_is_held(plant):
    visit = services.receive_unknown_tank(
        by=plant.by(), size_id=plant.size.pk, resin_type_id=plant.types["sac_h"].pk, customer_id=plant.customer.pk,
        what_is_seen="grey shell, no tag, cap taped",
    ).result  # fmt: skip
    assert (visit.state, visit.tank.segregation_class) == ("held", "E")
    assert "class E" in visit.reason


def test_an_unknown_tank_is_described(plant):
    with pytest.raises(RecordRefused, match="at least 10 characters") as refused:
        services.receive_unknown_tank(
            by=plant.by(), size_id=plant.size.pk, resin_type_id=plant.types["sac_h"].pk, customer_id=plant.customer.pk,
            what_is_seen="grey",
        )  # fmt: skip
    assert refused.value.field == "what_is_seen"


# --- looking ----------------------------------------------------------------------------------------------------------
def test_a_look_over_that_stops_nothing_leaves_the_tank_received(at_dock, plant):
    visit = at_dock()
    row = services.inspect_tank(
        by=plant.by(), visit_id=visit.pk, inspection=seen(), version=visit.version
    ).result
    assert (row.findings_that_stop, fresh(visit).state) == ([], "received")


def test_a_finding_that_stops_holds_the_tank_at_once(at_dock, plant):
    visit = at_dock()
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen(first_drain_ph=3.1))
    assert (fresh(visit).state, fresh(visit).reason) == ("held", "First drain pH 3.1, at least 4.")


def test_the_same_look_over_sent_twice_is_written_once(at_dock, plant):
    visit = at_dock()
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen(), version=visit.version)
    with pytest.raises(StaleRecord, match="was changed since you opened it"):
        services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen(), version=visit.version)
    assert IntakeInspection.objects.count() == 1


@pytest.mark.parametrize("weight_kg", [-5.0, 0.5, 5_000.0])
def test_a_weight_that_cannot_be_is_refused_with_what_can(at_dock, plant, weight_kg):
    visit = at_dock()
    with pytest.raises(OutOfRange, match=r"possible is 5.9.kg .* It is a 14 x 47 tank") as refused:
        services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen(weight_kg=weight_kg))
    assert refused.value.field == "weight"
    assert not IntakeInspection.objects.exists()


def test_a_text_longer_than_its_column_is_refused(at_dock, plant):
    visit = at_dock()
    with pytest.raises(RecordRefused, match="at most 20"):
        services.inspect_tank(
            by=plant.by(),
            visit_id=visit.pk,
            inspection=seen(first_drain_ph_as_typed="7.00000000000000000000"),
        )


def test_an_accepted_tank_is_not_looked_over_again(at_dock, plant):
    visit = at_dock(look=True)
    services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    with pytest.raises(RecordRefused, match=r"is accepted\. The look-over belongs before the verdict"):
        services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen())


# --- the verdict --------------------------------------------------------------------------------------------------------
def test_a_sound_tank_is_accepted_to_its_class(at_dock, plant):
    visit = at_dock(look=True)
    services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    assert (fresh(visit).state, fresh(visit).segregation_class) == ("accepted", "D")


def test_no_tank_is_accepted_before_it_was_looked_over(at_dock, plant):
    visit = at_dock()
    with pytest.raises(TransitionRefused, match="The intake inspection is not written down yet"):
        services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)


def test_no_tank_is_accepted_without_a_class(at_dock, plant):
    visit = at_dock(look=True)
    with pytest.raises(TransitionRefused, match=r"No segregation class is chosen\. It is never guessed"):
        services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="", version=visit.version)


@pytest.mark.parametrize("wanted", ["A", "B", "C"])
def test_a_class_is_never_raised(at_dock, plant, wanted):
    visit = at_dock(look=True, segregation_class="D")
    with pytest.raises(RecordRefused, match="Classes are never raised") as refused:
        services.accept_tank(
            by=plant.by("supervisor"),
            visit_id=visit.pk,
            segregation_class=wanted,
            version=visit.version,
            reason=LONG,
        )
    assert refused.value.field == "segregation_class"
    assert fresh(visit).tank.segregation_class == "D"


def test_an_invented_class_is_refused(at_dock, plant):
    visit = at_dock(look=True)
    with pytest.raises(RecordRefused, match="“Q” is no segregation class"):
        services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="Q", version=visit.version)


def test_high_purity_goes_down_to_industrial_once_and_for_good(at_dock, plant):
    visit = at_dock(look=True, segregation_class="C")
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    services.accept_tank(
        by=plant.by(),
        visit_id=visit.pk,
        segregation_class="D",
        version=visit.version,
        reason="TOC too high for class C",
    )
    tank = fresh(visit).tank
    assert (tank.segregation_class, tank.version) == ("D", 2)
    assert "it was class C" in story([("tank", tank.serial)])[-1].sentence


@pytest.mark.requirement("EV-03")
def test_a_metal_tank_is_not_accepted_without_a_determination_of_the_site(at_dock, plant):
    visit = at_dock(segregation_class="F")
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen())
    with pytest.raises(
        TransitionRefused,
        match="Metal-bearing resin is not accepted here: no determination of the site is on record",
    ):
        services.accept_tank(
            by=plant.by("safety"),
            visit_id=visit.pk,
            segregation_class="F",
            version=fresh(visit).version,
            reason=LONG,
        )


def test_two_people_judge_at_the_same_time_and_one_is_told(at_dock, plant):
    visit = at_dock(look=True)
    services.hold_tank(by=plant.by("qc"), visit_id=visit.pk, reason="smells odd", version=visit.version)
    with pytest.raises(StaleRecord, match=r"Q\w+ technician \d+ at \d\d:\d\d: T-\d+ was held"):
        services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    assert fresh(visit).state == "held"


def test_a_hold_is_lifted_by_supervisor_or_safety_lead_only(at_dock, plant):
    visit = at_dock(look=True)
    services.hold_tank(by=plant.by(), visit_id=visit.pk, reason="smells odd", version=visit.version)
    held = fresh(visit)
    with pytest.raises(NotAllowed, match=r"tank.lift_hold"):
        services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=held.version)
    services.accept_tank(
        by=plant.by("supervisor"), visit_id=visit.pk, segregation_class="D", version=held.version
    )
    assert fresh(visit).state == "accepted"


def test_a_second_clean_look_does_not_let_the_operator_accept_what_was_stopped(at_dock, plant):
    visit = at_dock()
    services.inspect_tank(
        by=plant.by(), visit_id=visit.pk, inspection=seen(oxidizer_strip=OxidizerStrip.COLOURED)
    )
    with pytest.raises(TransitionRefused, match="The oxidizer strip is coloured"):
        services.accept_tank(
            by=plant.by("supervisor"), visit_id=visit.pk, segregation_class="D", version=fresh(visit).version
        )
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen())
    with pytest.raises(NotAllowed):
        services.accept_tank(
            by=plant.by(), visit_id=visit.pk, segregation_class="D", version=fresh(visit).version
        )
    services.accept_tank(
        by=plant.by("safety"), visit_id=visit.pk, segregation_class="D", version=fresh(visit).version
    )
    assert fresh(visit).state == "accepted"


@pytest.mark.requirement("CS-02")
def test_only_the_safety_lead_accepts_a_forbidden_service_and_only_in_writing(at_dock, plant):
    """CS-02: refused for all roles but the safety lead with a written disposition."""
    visit = at_dock(words="nitric acid wash", look=True)
    assert visit.state == "held"
    with pytest.raises(TransitionRefused, match="declared service names “nitric”"):
        services.accept_tank(
            by=plant.by("supervisor"),
            visit_id=visit.pk,
            segregation_class="D",
            version=visit.version,
            reason=LONG,
        )
    with pytest.raises(RecordRefused, match="The reason is empty"):
        services.accept_tank(
            by=plant.by("safety"), visit_id=visit.pk, segregation_class="D", version=visit.version
        )
    services.accept_tank(
        by=plant.by("safety"), visit_id=visit.pk, segregation_class="D", version=visit.version, reason=LONG
    )
    assert (fresh(visit).state, fresh(visit).reason) == ("accepted", LONG)


def test_a_suspect_tank_becomes_industrial_by_disposition_only(at_dock, plant):
    visit = at_dock(segregation_class="E", look=True)
    with pytest.raises(RecordRefused, match="only by a written disposition of the safety lead"):
        services.accept_tank(
            by=plant.by("supervisor"),
            visit_id=visit.pk,
            segregation_class="D",
            version=visit.version,
            reason=LONG,
        )
    services.accept_tank(
        by=plant.by("safety"), visit_id=visit.pk, segregation_class="D", version=visit.version, reason=LONG
    )
    assert fresh(visit).tank.segregation_class == "D"


@pytest.mark.parametrize("act", [services.hold_tank, services.refuse_tank])
def test_hold_and_refusal_need_a_reason(at_dock, plant, act):
    visit = at_dock()
    with pytest.raises(RecordRefused, match="The reason is empty") as refused:
        act(by=plant.by(), visit_id=visit.pk, reason="  ", version=visit.version)
    assert refused.value.field == "reason"


@pytest.mark.requirement("ER-29")
def test_a_refused_tank_stays_refused_and_may_come_again_another_day(at_dock, plant):
    visit = at_dock()
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen(water_colour=WaterColour.YELLOW))
    services.refuse_tank(
        by=plant.by(),
        visit_id=visit.pk,
        reason="yellow water, chromate suspected",
        version=fresh(visit).version,
    )
    with pytest.raises(TransitionRefused, match="A tank that is refused cannot accept"):
        services.accept_tank(
            by=plant.by("safety"), visit_id=visit.pk, segregation_class="D", version=fresh(visit).version
        )
    assert at_dock(tank=visit.tank).number != visit.number


def test_an_accepted_tank_can_still_be_held(at_dock, plant):
    visit = at_dock(look=True)
    services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    services.hold_tank(
        by=plant.by("qc"), visit_id=visit.pk, reason="customer called", version=fresh(visit).version
    )
    assert fresh(visit).state == "held"


def test_every_act_stands_in_the_story_of_the_tank(at_dock, plant):
    visit = at_dock()
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen(shell=ShellCondition.CRACKED))
    services.refuse_tank(by=plant.by(), visit_id=visit.pk, reason="cracked", version=fresh(visit).version)
    serial = visit.tank.serial
    assert [line.sentence for line in story([("tank", serial)])] == [
        f"{serial} was registered: 14 x 47, T-SAC_H, class D",
        f"{serial} came back from Moonbase Test Kitchen: exhausted",
        f"{serial} was looked over: The shell is cracked. It is held.",
        f"{serial} was refused",
    ]
