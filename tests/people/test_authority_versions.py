"""Versions of the authority matrix: drafted, approved by another person with a signature, in force from a date; guard rails."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, StaleRecord
from regenplant.people.approvals import approval_of
from regenplant.people.authority import BUILT_IN, Role, plain_of
from regenplant.people.authority_changes import changes_between, people_changes
from regenplant.people.models import AuthorityVersion, Person
from regenplant.people.selectors import people_who_may
from regenplant.people.services import (
    approve_authority,
    deactivate_person,
    draft_authority,
    set_roles,
    take_back_authority_draft,
    withdraw_authority,
)
from regenplant.people.signing import SignaturePermit, holds
from tests import factories

Make = Callable[..., By]
SHIP_B = {"tank.ship": {"operator": ["B"], "supervisor": ["*"]}}


def rights(**changed: Any) -> dict[str, Any]:
    """The program's table with some rights changed."""
    return {**plain_of(BUILT_IN), **{name.replace("__", "."): held for name, held in changed.items()}}


def drafted(by: By, changed: dict[str, Any] | None = None) -> AuthorityVersion:
    found: AuthorityVersion = draft_authority(
        by=by,
        rights={**plain_of(BUILT_IN), **(SHIP_B if changed is None else changed)},
        reason="Potable customers.",
    ).result
    return found


def approved(by: By, version: AuthorityVersion, **also: Any) -> AuthorityVersion:
    permit = factories.approval(by, version)
    found: AuthorityVersion = approve_authority(by=by, version_id=version.pk, permit=permit, **also).result
    return found


def fresh(person: Person) -> Person:
    return Person.objects.get(pk=person.pk)


@pytest.mark.requirement("ER-14", "ER-18")
def test_a_draft_changes_nothing_until_another_person_approves_and_signs_it(
    administrator: Person, supervisor: Person, operator: Person, planner: Person, by: Make
) -> None:
    version = drafted(by(administrator))
    assert fresh(planner).may("tank.ship", "D")
    approved(by(supervisor), version)
    assert not fresh(planner).may("tank.ship") and not fresh(operator).may("tank.ship", "D")
    assert fresh(operator).may("tank.ship", "B") and fresh(supervisor).may("tank.ship", "D")
    assert people_who_may("tank.ship", segregation_class="D") == [supervisor]
    version.refresh_from_db()
    assert version.signature is not None and holds(version.signature)
    assert (version.signature.meaning, version.signature.record_key) == (
        "approval of the authority matrix version 1",
        "1",
    )
    assert [line.event for line in story([("authority", "matrix")])] == [
        "authority.version_drafted",
        "authority.version_approved",
    ]


def test_nobody_approves_what_they_wrote_whatever_their_roles(
    administrator: Person, by: Make, supervisor: Person
) -> None:
    second = factories.person(Role.ADMINISTRATOR, Role.SUPERVISOR)
    version = drafted(by(second))
    with pytest.raises(NotAllowed, match="another person must approve it"):
        approved(by(second), version)
    with pytest.raises(NotAllowed):
        approved(by(administrator), version)
    assert approved(by(supervisor), version).state == "approved"


def test_an_approval_takes_this_persons_signature_for_this_meaning(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    version = drafted(by(administrator))
    for permit in (
        SignaturePermit(administrator.pk, approval_of(version), factories.START),
        SignaturePermit(supervisor.pk, "release of batch and tanks", factories.START),
    ):
        with pytest.raises(SignatureRefused):
            approve_authority(by=by(supervisor), version_id=version.pk, permit=permit)
    version.refresh_from_db()
    assert version.state == "draft"


def test_it_holds_from_its_date_and_the_newest_that_holds_wins(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    later = factories.START + timedelta(days=2)
    approved(by(supervisor), drafted(by(administrator)), effective_from=later)
    assert AuthorityVersion.in_force(factories.START).number == 0
    assert AuthorityVersion.in_force(later).number == 1
    approved(by(supervisor), drafted(by(administrator), {"tank.ship": {"planner": ["*"]}}))
    assert AuthorityVersion.in_force(factories.START).number == 2
    assert AuthorityVersion.in_force(later).number == 2
    with pytest.raises(RecordRefused, match="which is past"):
        approved(
            by(supervisor),
            drafted(by(administrator), {}),
            effective_from=factories.START - timedelta(hours=1),
        )


def test_what_took_force_is_not_withdrawn_only_replaced(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    later = factories.START + timedelta(days=2)
    version = approved(by(supervisor), drafted(by(administrator)), effective_from=later)
    with pytest.raises(SignatureRefused, match="is approved; taking it out is signed"):
        withdraw_authority(by=by(supervisor), version_id=version.pk, reason="Not before the audit.")
    withdraw_authority(
        by=by(supervisor),
        version_id=version.pk,
        reason="Not before the audit.",
        permit=factories.withdrawal(by(supervisor), version),
    )
    assert AuthorityVersion.in_force(later).number == 0
    second = approved(by(supervisor), drafted(by(administrator)))
    with pytest.raises(RecordRefused, match="took force already"):
        withdraw_authority(by=by(supervisor), version_id=second.pk, reason="I liked it better before.")
    assert AuthorityVersion.in_force(factories.START).number == 2


def test_a_draft_is_sent_back_by_one_side_or_taken_back_by_the_other(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    version = drafted(by(administrator))
    with pytest.raises(RecordRefused, match="is still a draft"):
        drafted(by(administrator), {"tank.ship": {"planner": ["*"]}})
    with pytest.raises(NotAllowed):
        take_back_authority_draft(by=by(supervisor), version_id=version.pk, reason="Not mine.")
    take_back_authority_draft(by=by(administrator), version_id=version.pk, reason="A slip.")
    with pytest.raises(StaleRecord):
        approved(by(supervisor), version)
    again = drafted(by(administrator))
    withdraw_authority(by=by(supervisor), version_id=again.pk, reason="Planners must ship.")
    assert [v.state for v in AuthorityVersion.objects.all()] == ["withdrawn", "withdrawn"]


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"tank.levitate": {"operator": ["*"]}}, "There is no right tank.levitate"),
        ({"tank.ship": {"captain": ["*"]}}, "There is no role captain"),
        ({"tank.ship": {"operator": ["Z"]}}, "There is no class Z"),
        ({"tank.ship": {"operator": []}}, "every class is taken out"),
        ({"people.edit": {"administrator": ["A"]}}, "cannot be limited"),
        ({}, "the same as the matrix that is approved"),
        ({"people.edit": {}}, "Nobody who is active could add people"),
        ({"people.edit": {"planner": ["*"]}}, "Nobody who is active could add people"),
        ({"authority.edit": {}}, "could write the authority matrix"),
        ({"authority.approve": {}}, "could approve the authority matrix"),
        ({"authority.edit": {"supervisor": ["*"]}}, "would hold alone what two persons must do"),
        ({"batch.run": {"QC technician": ["D"]}}, "would hold alone what two persons must do"),
        ({"qc.judge": {"supervisor": ["C"]}}, "would hold alone what two persons must do"),
    ],
)
def test_a_matrix_that_cannot_be_is_refused_in_words(
    administrator: Person, supervisor: Person, by: Make, changed: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(RecordRefused, match=sentence):
        drafted(by(administrator), changed)
    assert not AuthorityVersion.objects.exists()


def test_people_who_left_since_the_draft_count_at_the_approval(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    """Drafted while a planner could approve; approved after the planner left."""
    planner = factories.person(Role.PLANNER)
    version = drafted(by(administrator), {"authority.approve": {"planner": ["*"]}})
    deactivate_person(by=by(administrator), person_id=planner.pk, reason="Left the plant.")
    with pytest.raises(RecordRefused, match="could approve the authority matrix"):
        approved(by(supervisor), version)


def test_under_a_coming_matrix_the_last_who_gives_roles_keeps_the_account(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    planner = factories.person(Role.PLANNER)
    version = drafted(by(administrator), {"people.edit": {"planner": ["*"]}})
    approved(by(supervisor), version, effective_from=factories.START + timedelta(days=1))
    with pytest.raises(RecordRefused, match="Give that role to another person first"):
        deactivate_person(by=by(administrator), person_id=planner.pk, reason="Left the plant.")
    with pytest.raises(RecordRefused, match="Give that role to another person first"):
        set_roles(by=by(administrator), person_id=planner.pk, roles=[Role.OPERATOR], reason="Other work.")


def test_an_approved_version_is_frozen(administrator: Person, supervisor: Person, by: Make) -> None:
    version = approved(by(supervisor), drafted(by(administrator)))
    with pytest.raises(IntegrityError), transaction.atomic():
        AuthorityVersion.objects.filter(pk=version.pk).update(content="{}")


# --- what it changes, in words ----------------------------------------------------------------------------------------------
def test_changes_read_by_right_and_by_person(
    administrator: Person, supervisor: Person, operator: Person, planner: Person, by: Make
) -> None:
    new = drafted(by(administrator)).matrix
    (change,) = changes_between(BUILT_IN, new)
    assert (change.old, change.new) == ("operator; supervisor; planner", "operator in class B; supervisor")
    assert change.title == "Ship released tanks to their customer."
    found = {person.name: (person.gains, person.losses) for person in people_changes(BUILT_IN, new)}
    assert found == {
        "Operator 1": ((), ("Ship released tanks to their customer (class A, C, D, E, F, X)",)),
        "Planner 1": ((), ("Ship released tanks to their customer",)),
    }


def test_whoever_keeps_a_right_by_another_role_loses_nothing(administrator: Person, by: Make) -> None:
    factories.person(Role.SUPERVISOR, Role.PLANNER)
    new = drafted(by(administrator)).matrix
    assert people_changes(BUILT_IN, new) == ()
