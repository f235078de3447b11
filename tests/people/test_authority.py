"""Who may do what: the program's table, default deny, the rights of people with no, one and several roles, classes."""

from __future__ import annotations

import pytest
from django.db.models import QuerySet

from regenplant.people.authority import (
    BUILT_IN,
    CLASSES,
    EVERY_CLASS,
    KEPT_APART,
    RIGHTS,
    Matrix,
    Role,
    is_classed,
    matrix_of,
    not_kept_apart,
    plain_of,
)
from regenplant.people.models import Person
from regenplant.people.rights_in_words import THINGS, TITLES
from regenplant.people.selectors import demo_people, people_who_may
from regenplant.people.services import set_roles
from tests import factories

# Rights that separate duties. Named one by one, so that widening one of them has to be written down here as well.
ONLY = {
    "qc.record": {Role.QC_TECHNICIAN},
    "qc.judge": {Role.QC_TECHNICIAN},
    "batch.release": {Role.QC_TECHNICIAN, Role.SUPERVISOR},
    "certificate.issue": {Role.QC_TECHNICIAN, Role.SUPERVISOR},
    "batch.review": {Role.SUPERVISOR},
    "batch.reopen": {Role.SUPERVISOR},
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
    "authority.edit": {Role.ADMINISTRATOR},
    "authority.approve": {Role.SUPERVISOR},
    "alert.acknowledge": {Role.SUPERVISOR, Role.ADMINISTRATOR},
}


@pytest.mark.parametrize(
    ("permission", "roles"), ONLY.items(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_duties_are_separated(permission: str, roles: set[Role]) -> None:
    assert set(BUILT_IN.holders(permission)) == roles


@pytest.mark.parametrize("permission", RIGHTS)
@pytest.mark.parametrize("role", Role)
def test_a_role_may_exactly_what_the_table_says(permission: str, role: Role) -> None:
    assert BUILT_IN.may({role}, permission) is (role in RIGHTS[permission])


def test_every_right_is_held_by_somebody_and_named_after_thing_and_act() -> None:
    for permission, roles in RIGHTS.items():
        assert roles, permission
        thing, _, verb = permission.partition(".")
        assert thing.islower() and verb, permission


@pytest.mark.parametrize("permission", ["", "batch", "batch.everything", "superuser", "people.edit "])
def test_an_unknown_right_is_held_by_nobody(permission: str) -> None:
    assert not BUILT_IN.may(frozenset(Role), permission)
    assert BUILT_IN.holders(permission) == ()


def test_no_roles_no_rights() -> None:
    assert not any(BUILT_IN.may(frozenset(), permission) for permission in RIGHTS)


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


def test_a_group_that_is_no_role_gives_nothing(operator: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    operator.__dict__.pop("_roles", None)
    monkeypatch.setattr(QuerySet, "values_list", lambda rows, *names, **how: ["operator", "bowling club"])
    assert operator.role_names() == ("operator",)
    assert not BUILT_IN.may({"bowling club"}, "batch.run")  # type: ignore[arg-type]


def test_roles_are_read_once_per_object_and_anew_after_refresh(operator: Person) -> None:
    assert not operator.may("batch.abort")
    administrator = factories.first_administrator()
    by = factories.By(administrator, factories.START, "tests")
    set_roles(
        by=by, person_id=operator.pk, roles=[Role.OPERATOR, Role.SUPERVISOR], reason="Takes the night shift."
    )
    assert not operator.may("batch.abort")
    operator.refresh_from_db()
    assert operator.may("batch.abort")


def test_whom_to_ask_names_active_holders_without_oneself(
    operator: Person, second_operator: Person, supervisor: Person, qc_technician: Person
) -> None:
    assert people_who_may("batch.run", except_pks=[operator.pk]) == [second_operator, supervisor]
    factories.leaves(supervisor)
    assert people_who_may("batch.abort") == []


def test_a_holder_of_two_fitting_roles_is_named_once(db: None) -> None:
    both = factories.person(Role.OPERATOR, Role.SUPERVISOR)
    assert people_who_may("batch.run") == [both]


def test_the_list_for_the_demonstration_follows_the_roles(
    supervisor: Person, operator: Person, outsider: Person
) -> None:
    administrator = factories.first_administrator()
    assert demo_people() == [operator, supervisor, administrator, outsider]


# --- classes ----------------------------------------------------------------------------------------------------------
ONLY_C_AND_D = matrix_of(
    {**plain_of(BUILT_IN), "batch.run": {"operator": ["C", "D"], "supervisor": ["*"]}}, 3
)


@pytest.mark.requirement("ER-14")
def test_a_right_in_some_classes_is_no_right_in_the_others() -> None:
    held = [item for item in CLASSES if ONLY_C_AND_D.may({Role.OPERATOR}, "batch.run", item)]
    assert held == ["C", "D"]
    assert ONLY_C_AND_D.may({Role.OPERATOR}, "batch.run"), "where no class is concerned, some class is enough"
    assert not ONLY_C_AND_D.may({Role.OPERATOR}, "batch.run", EVERY_CLASS)
    assert all(ONLY_C_AND_D.may({Role.SUPERVISOR}, "batch.run", item) for item in (*CLASSES, EVERY_CLASS))


def test_an_unknown_class_is_denied_to_whoever_holds_only_some() -> None:
    assert not ONLY_C_AND_D.may({Role.OPERATOR}, "batch.run", "Z")


def test_whom_to_ask_depends_on_the_class() -> None:
    assert ONLY_C_AND_D.holders("batch.run", "C") == (Role.OPERATOR, Role.SUPERVISOR)
    assert ONLY_C_AND_D.holders("batch.run", "B") == (Role.SUPERVISOR,)
    assert ONLY_C_AND_D.depends_on_class("batch.run") and not ONLY_C_AND_D.depends_on_class("batch.plan")


def test_a_matrix_survives_being_stored() -> None:
    again = matrix_of(plain_of(ONLY_C_AND_D), 3)
    assert again == ONLY_C_AND_D
    assert plain_of(again) == plain_of(ONLY_C_AND_D)


def test_a_right_the_version_does_not_know_is_as_the_program_says_and_named() -> None:
    old = {name: held for name, held in plain_of(BUILT_IN).items() if name != "alert.acknowledge"}
    found = matrix_of({**old, "right.of_yore": {"operator": ["*"]}}, 2)
    assert found.unsaid == ("alert.acknowledge",)
    assert found.holders("alert.acknowledge") == BUILT_IN.holders("alert.acknowledge")
    assert found.holders("right.of_yore") == ()


def test_a_right_the_version_gives_to_nobody_is_nobodys() -> None:
    found = matrix_of({**plain_of(BUILT_IN), "batch.scrap": {}}, 2)
    assert found.holders("batch.scrap") == () and found.unsaid == ()


@pytest.mark.parametrize("group", KEPT_APART, ids="+".join)
def test_one_role_never_holds_what_two_persons_must_do(group: tuple[str, ...]) -> None:
    assert not_kept_apart(BUILT_IN) == ()
    joined = {**plain_of(BUILT_IN), **{permission: {"planner": ["*"]} for permission in group}}
    assert (Role.PLANNER, group) in not_kept_apart(matrix_of(joined, 1))


def test_what_is_kept_apart_is_looked_at_class_by_class() -> None:
    ways = {"batch.run": ["A", "B"], "qc.judge": ["B", "C"], "batch.release": ["C", "D"]}
    shifted = {**plain_of(BUILT_IN), **{name: {"planner": held} for name, held in ways.items()}}
    assert not_kept_apart(matrix_of(shifted, 1)) == ()
    shifted["batch.release"] = {"planner": ["B"]}
    assert [role for role, _ in not_kept_apart(matrix_of(shifted, 1))] == [Role.PLANNER]


def test_every_right_reads_as_a_sentence_under_a_heading() -> None:
    """A right added to RIGHTS gets its words in people/rights_in_words.py."""
    assert sorted(TITLES) == sorted(RIGHTS)
    assert all(title.endswith(".") and title[0].isupper() for title in TITLES.values())
    assert {permission.partition(".")[0] for permission in RIGHTS} <= set(THINGS)


def test_an_empty_matrix_denies_everything() -> None:
    empty = Matrix({})
    assert not any(
        empty.may(frozenset(Role), permission, item) for permission in RIGHTS for item in ("", *CLASSES)
    )
    assert is_classed("batch.run") and not is_classed("people.edit")
