"""Who may do what: the table, default deny, and the rights of people with no, one and several roles."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import Group

from regenplant.people.authority import RIGHTS, Role, holders, may
from regenplant.people.models import Person
from regenplant.people.selectors import demo_people, people_who_may
from tests import factories

# Rights that separate duties. Named one by one, so that widening one of them has to be written down here as well.
ONLY = {
    "qc.record": {Role.QC_TECHNICIAN},
    "qc.judge": {Role.QC_TECHNICIAN},
    "batch.release": {Role.QC_TECHNICIAN, Role.SUPERVISOR},
    "batch.abort": {Role.SUPERVISOR},
    "batch.rework": {Role.SUPERVISOR},
    "batch.scrap": {Role.SUPERVISOR},
    "step.skip": {Role.SUPERVISOR},
    "deviation.close": {Role.SUPERVISOR},
    "chemical.correct": {Role.SUPERVISOR},
    "tank.disposition": {Role.SAFETY_LEAD},
    "tank.lift_hold": {Role.SUPERVISOR, Role.SAFETY_LEAD},
    "recipe.approve": {Role.SUPERVISOR, Role.QC_TECHNICIAN},
    "people.edit": {Role.ADMINISTRATOR},
}


@pytest.mark.parametrize(
    ("permission", "roles"), ONLY.items(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_duties_are_separated(permission: str, roles: set[Role]) -> None:
    assert set(holders(permission)) == roles


@pytest.mark.parametrize("permission", RIGHTS)
@pytest.mark.parametrize("role", Role)
def test_a_role_may_exactly_what_the_table_says(permission: str, role: Role) -> None:
    assert may(frozenset({role}), permission) is (role in RIGHTS[permission])


def test_every_right_is_held_by_somebody_and_named_after_thing_and_act() -> None:
    for permission, roles in RIGHTS.items():
        assert roles, permission
        thing, _, verb = permission.partition(".")
        assert thing.islower() and verb, permission


@pytest.mark.parametrize("permission", ["", "batch", "batch.everything", "superuser", "people.edit "])
def test_an_unknown_right_is_held_by_nobody(permission: str) -> None:
    assert not may(frozenset(Role), permission)
    assert holders(permission) == ()


def test_no_roles_no_rights() -> None:
    assert not any(may(frozenset(), permission) for permission in RIGHTS)


def test_a_person_holds_the_rights_of_all_their_roles(db: None) -> None:
    both = factories.person(Role.OPERATOR, Role.QC_TECHNICIAN)
    assert both.role_names() == ("operator", "QC technician")
    assert both.may("batch.run") and both.may("qc.judge")
    assert not both.may("batch.abort")


def test_a_person_without_roles_may_nothing(outsider: Person) -> None:
    assert outsider.role_names() == ()
    assert not any(outsider.may(permission) for permission in RIGHTS)


def test_being_superuser_of_the_framework_gives_no_right_of_the_plant(outsider: Person) -> None:
    outsider.is_superuser = outsider.is_staff = True
    assert not any(outsider.may(permission) for permission in RIGHTS)


def test_a_group_that_is_no_role_gives_nothing(operator: Person) -> None:
    operator.groups.add(Group.objects.create(name="bowling club"))
    assert Person.objects.get(pk=operator.pk).role_names() == ("operator",)


def test_roles_are_read_once_per_object_and_anew_after_refresh(operator: Person) -> None:
    assert not operator.may("batch.abort")
    operator.groups.add(Group.objects.get(name=Role.SUPERVISOR.value))
    assert not operator.may("batch.abort")
    operator.refresh_from_db()
    assert operator.may("batch.abort")


def test_whom_to_ask_names_active_holders_without_oneself(
    operator: Person, second_operator: Person, supervisor: Person, qc_technician: Person
) -> None:
    assert people_who_may("batch.run", except_pks=[operator.pk]) == [second_operator, supervisor]
    Person.objects.filter(pk=supervisor.pk).update(is_active=False)
    assert people_who_may("batch.abort") == []


def test_a_holder_of_two_fitting_roles_is_named_once(db: None) -> None:
    both = factories.person(Role.OPERATOR, Role.SUPERVISOR)
    assert people_who_may("batch.run") == [both]


def test_the_list_for_the_demonstration_follows_the_roles(
    supervisor: Person, operator: Person, outsider: Person
) -> None:
    administrator = factories.first_administrator()
    assert demo_people() == [operator, supervisor, administrator, outsider]
