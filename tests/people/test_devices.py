"""A device's account: no password, no role, no signature, no sign-in; it never counts as a person, and what it wrote stays."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.db import DatabaseError, IntegrityError, transaction
from django.test import Client, RequestFactory
from django.urls import reverse

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused
from regenplant.people import services, standing
from regenplant.people.authority import Role
from regenplant.people.binding import SignaturePermit, bind
from regenplant.people.models import Person
from regenplant.people.selectors import demo_people, people_who_may
from regenplant.people.signing import _refuse_unable
from regenplant.web import doors
from regenplant.web.rights import right
from tests import factories
from tests.web.pages import text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-08")]
Make = Callable[..., By]


@pytest.fixture
def device(supervisor: Person, by: Make) -> Person:
    found: Person = services.add_device(
        by=by(supervisor), username="meter-m1", full_name="Meter outlet of C1"
    ).result
    return Person.objects.get(pk=found.pk)


def test_it_is_added_by_an_act_and_holds_nothing(device: Person) -> None:
    assert device.is_device and device.is_active and not device.has_usable_password()
    assert device.roles == frozenset() and device.role_names() == ()
    assert [line.sentence for line in story([("person", str(device.pk))])] == [
        "The device account Meter outlet of C1 was added as meter-m1"
    ]


def test_only_whoever_sets_up_the_plant_adds_one(operator: Person, by: Make) -> None:
    with pytest.raises(NotAllowed):
        services.add_device(by=by(operator), username="meter-x", full_name="Meter X")


def test_a_name_that_was_used_is_refused(device: Person, supervisor: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="exists or existed"):
        services.add_device(by=by(supervisor), username="METER-M1", full_name="Another meter")


@pytest.mark.parametrize("password", ["", "!", "a long password", factories.PASSWORD])
def test_it_cannot_sign_in(device: Person, client: Client, password: str) -> None:
    answer = client.post(reverse("sign-in"), {"username": device.username, "password": password})
    assert answer.status_code != 302 and "_auth_user_id" not in client.session


def test_a_forged_session_does_nothing(device: Person, client_of: Any) -> None:
    client = client_of(device)
    assert {
        client.post(reverse(name)).status_code for name in ("setup-vessel-new", "start", "intake-unknown")
    } == {403}
    assert not any(doors.is_open_to(device, name, {}) for name in ("setup-vessel-new", "setup"))


def test_no_act_is_its_own_but_those_made_for_devices(device: Person, by: Make) -> None:
    with pytest.raises(NotAllowed, match="It sends readings and does nothing else"):
        services.set_preferences(by=by(device), unit_system="us", theme="")
    with pytest.raises(NotAllowed, match="is a device"):
        services.add_device(by=by(device), username="meter-2", full_name="Meter 2")


def test_a_closed_device_does_nothing_at_all(device: Person, supervisor: Person, by: Make) -> None:
    services.set_device_open(by=by(supervisor), person_id=device.pk, is_open=False, reason="Taken down.")
    device.refresh_from_db()
    with pytest.raises(NotAllowed, match="closed"):
        services.add_device(by=by(device), username="meter-2", full_name="Meter 2")
    with pytest.raises(RecordRefused, match="closed already"):
        services.set_device_open(by=by(supervisor), person_id=device.pk, is_open=False, reason="Taken down.")


def test_it_signs_nothing(device: Person, by: Make) -> None:
    permit = SignaturePermit(device.pk, "reviewed", by(device).at)
    with pytest.raises(SignatureRefused, match="a device’s"):
        bind(
            permit,
            by=by(device),
            meaning="reviewed",
            record_kind="batch",
            record_key="1",
            record_version=1,
            content={},
        )


@pytest.mark.parametrize("is_second", [False, True])
def test_no_password_is_proven_in_its_name(
    device: Person, supervisor: Person, by: Make, is_second: bool
) -> None:
    who = by(supervisor) if is_second else by(device)
    with pytest.raises(SignatureRefused, match="is a device and signs nothing"):
        _refuse_unable(who, device, "reviewed", ("batch", "1", "Batch 1"))


@pytest.mark.parametrize(
    ("act", "more"),
    [
        (services.set_roles, {"roles": [Role.QC_TECHNICIAN], "reason": "It knows best."}),
        (services.rename_person, {"full_name": "Somebody", "initials": "SB", "reason": "A better name."}),
        (services.reset_password, {"password": "a long password 1", "reason": "To sign in."}),
        (services.deactivate_person, {"reason": "It left."}),
    ],
    ids=["roles", "name", "password", "closing"],
)
def test_it_is_kept_with_its_feed_and_never_by_hand(
    device: Person, administrator: Person, by: Make, act: Any, more: dict[str, Any]
) -> None:
    with pytest.raises(RecordRefused, match="is a device’s account") as refused:
        act(by=by(administrator), person_id=device.pk, **more)
    assert refused.value.code == "device_account"


def test_a_closed_one_is_not_opened_with_a_password(
    device: Person, administrator: Person, supervisor: Person, by: Make
) -> None:
    services.set_device_open(by=by(supervisor), person_id=device.pk, is_open=False, reason="Taken down.")
    with pytest.raises(RecordRefused, match="is a device’s account"):
        services.reactivate_person(
            by=by(administrator), person_id=device.pk, password="a long password 1", reason="Back again."
        )


def test_a_person_is_not_closed_as_a_device(operator: Person, supervisor: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="is a person, not a device"):
        services.set_device_open(
            by=by(supervisor), person_id=operator.pk, is_open=False, reason="Taken down."
        )


def test_a_role_put_on_it_by_hand_gives_it_nothing(device: Person) -> None:
    device.groups.add(*Group.objects.filter(name__in=[role.value for role in Role]))
    device.refresh_from_db()
    assert device.roles == frozenset() and not device.may("batch.run") and not device.may("qc.judge")
    assert device not in people_who_may("batch.review") and device not in demo_people()
    assert device.pk not in standing.roles_of_everybody()


@pytest.mark.parametrize(
    "changed",
    [
        {"password": make_password("a long password")},
        {"password": ""},
        {"is_superuser": True},
        {"is_staff": True},
    ],
    ids=["password", "empty password", "superuser", "staff"],
)
def test_the_database_itself_keeps_it_powerless(device: Person, changed: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Person.objects.filter(pk=device.pk).update(**changed)


def test_a_device_never_becomes_a_person(device: Person) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        Person.objects.filter(pk=device.pk).update(is_device=False)


def test_it_is_listed_as_a_device(device: Person, administrator: Person, client_of: Any) -> None:
    client = client_of(administrator)
    page = text_of(client.get(reverse("setup-people")))
    assert "device, sends readings only" in page and "may send" in page
    own = text_of(client.get(reverse("setup-person", args=[device.username])))
    assert "A device’s account" in own and "Change roles" not in own and "One-time password" not in own


def test_no_button_is_its_own(device: Person) -> None:
    request = RequestFactory().get("/")
    request.user = device
    assert not right(request, "batch.run").is_held
