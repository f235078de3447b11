"""Too many wrong passwords: the account rests for a quarter of an hour, for signing in as for signing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.db.models import F
from django.http import HttpResponse
from django.test import Client

from regenplant.people.models import Person
from tests import factories


def try_to_sign_in(client: Client, person: Person, password: str) -> HttpResponse:
    answer: HttpResponse = client.post("/sign-in/", {"username": person.username, "password": password})
    return answer


@pytest.fixture
def locked(client: Client, operator: Person) -> Person:
    """An operator who has just typed five wrong passwords."""
    statuses = [try_to_sign_in(client, operator, f"wrong {n}").status_code for n in range(5)]
    assert statuses[:4] == [200] * 4 and statuses[4] == 429
    return operator


def test_after_five_failures_even_the_right_password_waits(client: Client, locked: Person) -> None:
    assert try_to_sign_in(client, locked, factories.PASSWORD).status_code == 429
    assert "_auth_user_id" not in client.session


def test_after_a_quarter_of_an_hour_it_opens_again(client: Client, locked: Person) -> None:
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=14))
    assert try_to_sign_in(client, locked, factories.PASSWORD).status_code == 429
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=2))
    assert try_to_sign_in(client, locked, factories.PASSWORD).status_code == 302


def test_it_locks_the_person_not_the_terminal(
    client: Client, locked: Person, second_operator: Person
) -> None:
    assert try_to_sign_in(client, second_operator, factories.PASSWORD).status_code == 302


def test_a_success_forgets_the_failures_before_it(client: Client, operator: Person) -> None:
    for _ in range(2):
        for _ in range(4):
            assert try_to_sign_in(client, operator, "wrong").status_code == 200
        assert try_to_sign_in(client, operator, factories.PASSWORD).status_code == 302
        client.logout()


def test_somebody_who_left_cannot_sign_in(client: Client, operator: Person) -> None:
    factories.leaves(operator)
    assert try_to_sign_in(client, operator, factories.PASSWORD).status_code == 200
    assert "_auth_user_id" not in client.session


def test_somebody_who_leaves_while_signed_in_is_out_at_the_next_page(
    client: Client, operator: Person
) -> None:
    try_to_sign_in(client, operator, factories.PASSWORD)
    factories.leaves(operator)
    assert client.get("/preferences/").status_code == 302
