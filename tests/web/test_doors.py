"""Every address that takes a POST, in every role and segregation class: 403 exactly where the matrix denies.

What is expected is read from the table of the program or from the drawn matrix of the tests, never from the door itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.urls.converters import IntConverter

from regenplant.audit.use_case import REGISTRY
from regenplant.batches.services import open_deviation
from regenplant.core.process.lifecycle import LIFECYCLES
from regenplant.people.authority import CLASSES, EVERY_CLASS, RIGHTS, Matrix, Role, is_classed
from regenplant.people.models import AuthorityVersion, Person
from regenplant.people.services import add_person
from regenplant.quality.models import RetainedSample
from regenplant.web import doors
from regenplant.web.doors import DOORS, OPEN
from tests import factories
from tests.people.test_authority_cells import DRAWN, drawn
from tests.web.pages import text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-14")]

PATTERNS = {str(p.name): p for p in get_resolver().url_patterns if isinstance(p, URLPattern)}
ClientOf = Callable[[Person], Client]


def address(name: str, **known: Any) -> str:
    """The address with what is known in its places, else with something that is not there."""
    places = PATTERNS[name].pattern.converters
    given = {
        place: known.get(place, 1 if isinstance(kind, IntConverter) else "B-1")
        for place, kind in places.items()
    }
    return reverse(name, kwargs=given)


@pytest.fixture
def one_per_role(db: None, client_of: ClientOf) -> dict[Role, Client]:
    return {role: client_of(factories.person(role)) for role in Role}


@pytest.fixture
def under(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Matrix], None]]:
    """``under(matrix)``: this matrix is in force from now on."""

    def set_in_force(matrix: Matrix) -> None:
        def in_force(cls: type[AuthorityVersion], at: datetime) -> Matrix:
            return matrix

        monkeypatch.setattr(AuthorityVersion, "in_force", classmethod(in_force))

    yield set_in_force


# --- the table is whole -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", sorted(PATTERNS))
def test_what_takes_a_post_has_a_door_or_a_reason_to_be_open(name: str, client_of: ClientOf) -> None:
    """A new address that takes a POST gets a line in web/doors.py: the right it takes, and what it is about."""
    answer = client_of(factories.person(*Role)).post(address(name))
    takes_a_post = answer.status_code != 405
    assert takes_a_post is (name in DOORS or name in OPEN), f"{name} answers {answer.status_code}"


def test_the_doors_take_the_rights_of_the_acts_behind_them() -> None:
    asked = {right for door in DOORS.values() for right in door.rights}
    needed = {case.permission for case in REGISTRY.values()} | {
        rule.permission for life in LIFECYCLES for rule in life.table.values()
    }
    assert asked <= set(RIGHTS)
    inside = {"plant.lift_lock_of_another", "tank.disposition"}
    """Asked for in the middle of an act, by ``require`` or ``may``."""
    assert asked - needed - inside == set(), "a door takes a right that no act needs"
    without = {
        "record.seal": "a command of the machine's keeper",
        "resin.mix": "part of filling",
        "paper.issue": "papers are asked for by their address",
    }
    assert needed - asked - set(without) - {""} == set(), "an act needs a right that no door takes"


def test_a_door_about_something_takes_rights_that_have_classes() -> None:
    wrong = [
        name
        for name, door in DOORS.items()
        if door.about and not all(is_classed(right) for right in door.rights)
    ]
    assert wrong == []


# --- every role -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("role", Role)
def test_every_act_in_this_role(role: Role, client_of: ClientOf) -> None:
    client, wrong = client_of(factories.person(role)), []
    for name, door in DOORS.items():
        status = client.post(address(name)).status_code
        may = any(role in RIGHTS[right] for right in door.rights)
        if (status == 403) is may or status >= 500:
            wrong.append((name, status))
    assert wrong == []


def test_nobody_without_a_role_and_no_shared_account_gets_through(
    administrator: Person, outsider: Person, client_of: ClientOf
) -> None:
    shared = add_person(
        by=factories.By(administrator, factories.START, "tests"), username="tablet", full_name="Bench tablet",
        initials="BT", roles=[], password=factories.PASSWORD, is_shared=True,
    ).result  # fmt: skip
    for person in (outsider, shared):
        client = client_of(person)
        assert {client.post(address(name)).status_code for name in DOORS} == {403}
    answer = client_of(shared).post(address("batches-hold"))
    assert "Bench tablet is a shared account. It looks and does nothing." in text_of(answer)


def test_signed_out_nothing_is_done(client: Client, db: None) -> None:
    assert {client.post(address(name)).status_code for name in DOORS} == {401}


# --- every class ------------------------------------------------------------------------------------------------------------
CLASSED = [name for name, door in DOORS.items() if door.about]


def status_is_wrong(client: Client, name: str, may: bool) -> bool:
    status = client.post(address(name)).status_code
    return (status == 403) is may or status >= 500


def in_class(monkeypatch: pytest.MonkeyPatch, item: str) -> None:
    """Whatever an address is about is of this class."""
    monkeypatch.setattr(doors, "_class_of", lambda about, places: [item])


def wrong_cells(clients: dict[Role, Client], item: str, names: list[str]) -> list[tuple[str, Role, str]]:
    return [
        (name, role, item)
        for role, client in clients.items()
        for name in names
        if status_is_wrong(client, name, any(drawn(right, role, item) for right in DOORS[name].rights))
    ]


@pytest.mark.long
@pytest.mark.parametrize("item", CLASSES)
def test_every_act_in_every_role_and_class(
    item: str,
    one_per_role: dict[Role, Client],
    under: Callable[[Matrix], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    under(DRAWN)
    in_class(monkeypatch, item)
    assert wrong_cells(one_per_role, item, CLASSED) == []


@pytest.mark.parametrize("turn", range(len(CLASSES)))
def test_a_sample_of_acts_in_every_role_and_class(
    turn: int,
    one_per_role: dict[Role, Client],
    under: Callable[[Matrix], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each act in one class; the long run tries each act in each class."""
    under(DRAWN)
    in_class(monkeypatch, CLASSES[turn])
    assert wrong_cells(one_per_role, CLASSES[turn], CLASSED[turn :: len(CLASSES)]) == []


@pytest.fixture
def things(db: None) -> dict[str, dict[str, Any]]:
    """Something of class D for each kind of thing an address can be about."""
    plant = factories.plant_today()
    batch = factories.frozen_batch(plant, "sac_h")
    visit = factories.received_tank(plant, "sac_h")
    deviation = open_deviation(
        by=plant.by(), batch_id=batch.pk, what="The gauge sticks at 2 bar.", severity="minor"
    ).result
    sample = RetainedSample.objects.create(
        number="RS-1001", batch=batch, taken_at=plant.now, taken_by=plant.people["operator"], volume_as_typed="0.5 L",
        volume_m3=0.0005, place="shelf 3", keep_until=plant.now.date(), entered_at=plant.now,
    )  # fmt: skip
    return {
        "sample": {"number": sample.number},
        "batch": {"number": batch.number},
        "deviation": {"number": deviation.number},
        "tank": {"serial": visit.tank.serial},
        "visit": {"number": visit.number},
    }


def test_the_class_of_what_an_address_names_is_found(
    things: dict[str, dict[str, Any]], under: Callable[[Matrix], None], operator: Person, client_of: ClientOf
) -> None:
    """The real things are of class D: whoever holds the right in all other classes is refused, in D alone let in."""
    client = client_of(operator)
    for name in CLASSED:
        door = DOORS[name]
        where = address(name, **things[door.about])
        for held, may in (
            (frozenset(CLASSES) - {"D"}, False),
            (frozenset({"D"}), True),
            (frozenset({EVERY_CLASS}), True),
        ):
            also = {"paper.issue": {Role.OPERATOR: frozenset({EVERY_CLASS})}}  # a copy is a paper too
            under(Matrix({right: {Role.OPERATOR: held} for right in door.rights} | also))
            status = client.post(where).status_code
            assert (status == 403) is not may and status < 500, f"{name} answers {status} in {sorted(held)}"


def test_a_button_is_grey_with_its_reason_where_the_class_denies(
    things: dict[str, dict[str, Any]], under: Callable[[Matrix], None], operator: Person, client_of: ClientOf
) -> None:
    page = reverse("batches-deviation", kwargs=things["batch"])
    assert "for class D" not in text_of(client_of(operator).get(page))
    under(
        Matrix(
            {
                "deviation.open": {
                    Role.OPERATOR: frozenset({"A", "B"}),
                    Role.SUPERVISOR: frozenset({EVERY_CLASS}),
                }
            }
        )
    )
    assert "This takes a supervisor for class D." in text_of(client_of(operator).get(page))
