"""Every address of the house, asked with what nobody should ask: an answer that is a page, never a crash."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, get_resolver
from django.urls.converters import IntConverter
from django.utils.http import urlencode

from regenplant.people.authority import Role
from regenplant.people.models import Person
from tests import factories

PATTERNS = [p for p in get_resolver().url_patterns if isinstance(p, URLPattern)]
WHOLE_NUMBERS = ("0", "7", "9" * 18, "9" * 40)
TEXTS = ("x", "B-1", "T-99999", "..", "a b", "é", "🧪", "%00", "x" * 3000, "'; --", "None", "-1")
ASKED = (
    {"page": "abc", "sort": "nothing", "find": "x" * 3000},
    {"page": "-1", "sort": "-id,;", "state": "\x00", "family": "moss", "per_page": "0"},
    {
        "page": "9" * 40,
        "name": "value",
        "kind": "nothing",
        "value": "1e999",
        "first": "2026-13-45",
        "last": "now",
    },
    {
        "kind": "mass",
        "value": "\u0664\u0662 kg",
        "period": "never",
        "q": "\x00",
        "_export": "exe",
        "code": "🧪",
    },
    {"kind": "resistivity", "value": "-0", "vessel": "None", "recipe": "9" * 40, "visit": "x", "tank": "-1"},
)
"""Questions no page of ours asks."""


def addresses(pattern: URLPattern) -> list[str]:
    """The addresses of one pattern with hostile values in its places; values the pattern itself keeps out are left out."""
    converters = pattern.pattern.converters
    places = [WHOLE_NUMBERS if isinstance(kind, IntConverter) else TEXTS for kind in converters.values()]
    route = str(pattern.pattern)
    found = []
    for turn in range(max((len(place) for place in places), default=1)):
        values = [place[turn % len(place)] for place in places]
        address = route
        for name, value in zip(converters, values, strict=True):
            start = address.index("<")
            end = address.index(">")
            assert address[start:end].endswith(name)
            address = address[:start] + value + address[end + 1 :]
        found.append(f"/{address}")
    return found


@pytest.fixture
def everybody(db: None) -> Person:
    """One person with every role, so that no right keeps a question from its view."""
    return factories.person(*Role)


def answered(response: HttpResponse, what: str) -> None:
    assert response.status_code < 500, f"{what} gives {response.status_code}"


def named(pattern: Any) -> str:
    return str(pattern.name)


def test_the_addresses_are_found() -> None:
    assert len(PATTERNS) > 40
    assert all(pattern.name for pattern in PATTERNS), "every address has a name"
    assert len({pattern.name for pattern in PATTERNS}) == len(PATTERNS), "and no two the same"


@pytest.mark.parametrize("pattern", PATTERNS, ids=named)
def test_hostile_addresses_questions_and_empty_forms_get_an_answer(
    pattern: URLPattern, everybody: Person, client_of: Callable[[Person], Client]
) -> None:
    client = client_of(everybody)
    for address in addresses(pattern):
        answered(client.get(address), f"GET {address[:80]}")
    first = addresses(pattern)[0]
    for question in ASKED:
        answered(client.get(f"{first}?{urlencode(question)}"), f"GET {first} {question}")
    if pattern.name != "sign-out":
        for form in ({}, {"version": "9" * 40}, {"version": "x", "reason": "\x00"}):
            answered(client.post(first, form), f"POST {first} {form}")
            answered(client.post(first, form, headers={"hx-request": "true"}), f"POST by htmx {first}")


def test_an_address_that_is_none_is_a_page_that_says_so(
    everybody: Person, client_of: Callable[[Person], Client]
) -> None:
    for address in ("/no/such/page/", "/batches/%2e%2e/", "/static/../settings.py"):
        assert client_of(everybody).get(address).status_code == 404
