"""The description and the program say the same: calls drawn from the OpenAPI text, bounded and the same each time."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.wsgi import get_wsgi_application
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings

from regenplant.web.api.endpoints import api
from tests import factories
from tests.api.meters import meter_at
from tests.web.pages import text_of

schemathesis = pytest.importorskip(
    "schemathesis", reason="schemathesis is not installed; it is part of the test requirements."
)

schemathesis.checks.load_all_checks()
CHECKS = tuple(
    schemathesis.checks.CHECKS.get_one(name)
    for name in (
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_schema_conformance",
        "negative_data_rejection",
        "ignored_auth",
    )
)
EXAMPLES = 25


def described() -> Any:
    return schemathesis.openapi.from_dict(api.get_openapi_schema(path_prefix="/api/"))


OPERATIONS = [result.ok() for result in described().get_all_operations()]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.label)
def test_drawn_calls_are_answered_as_described(operation: Any) -> None:
    plant = factories.small_plant(now=factories.hours_ago(8))
    factories.rinsing_batch(plant)
    meter = meter_at(plant, "A1")
    headers = {"Authorization": f"Bearer {meter.token}"}
    app = get_wsgi_application()

    @settings(
        max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
        suppress_health_check=list(HealthCheck), phases=[Phase.explicit, Phase.generate],
    )  # fmt: skip
    def run(case: Any) -> None:
        answer = case.call(app=app, headers=headers)
        case.validate_response(answer, checks=CHECKS, headers=headers)

    given(case=operation.as_strategy())(run)()


@pytest.mark.django_db
def test_the_description_is_there_for_whoever_makes_a_client(client: Client) -> None:
    answer = client.get("/api/openapi.json")
    assert answer.status_code == 200 and answer["Content-Type"].startswith("application/json")
    said = answer.json()
    assert said["openapi"].startswith("3.1")
    assert set(said["paths"]) == {"/api/readings/", "/api/rinses/{batch}/"}
    assert said["paths"]["/api/readings/"]["post"]["security"] == [{"FeedToken": []}]
    for methods in said["paths"].values():
        for operation in methods.values():
            assert operation["summary"] and operation["description"]


@pytest.mark.django_db
def test_the_page_says_the_same_in_words_and_asks_nobody_else(client_of: Any, client: Client) -> None:
    answer = client_of(factories.person()).get("/api/")
    page = text_of(answer)
    for words in (
        "drives nothing",
        "Authorization: Bearer",
        "/api/readings/",
        "temperature_c",
        "known_already",
        "listen_to_meters",
    ):
        assert words in page, words
    assert "http://" not in answer.content.decode().replace("http://testserver", "")
    assert client.get("/api/").status_code == 302, "for people of the plant"
