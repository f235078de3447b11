"""The set-up of meter feeds on the screen: the token is shown once, on the answer to the act and nowhere else."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.plant.models import MeterFeed
from regenplant.plant.tokens import digest_of
from tests import factories
from tests.web.pages import errors_of, form_data, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


def typed(plant: factories.SmallPlant, **changed: Any) -> dict[str, Any]:
    return {
        "code": "m1",
        "name": "Outlet of C1",
        "instrument": plant.instruments["CELL"].pk,
        "vessel": plant.vessels["C1"].pk,
        "topic": "rinse/c1/outlet",
        **changed,
    }


def token_on(answer: Any) -> str:
    assert answer.status_code == 200, answer.status_code
    found = re.search(r"data-token>([^<]+)<", answer.content.decode())
    assert found is not None
    return found[1]


def sent(client: Client, name: str, **values: Any) -> Any:
    """The answer to the form at this address, with what it shows and these values."""
    url = reverse(name, args=["M1"])
    return client.post(
        url, {**form_data(client.get(url).context["form"]), "reason": "It was seen.", **values}
    )


def test_the_token_is_shown_once_and_never_again(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    answer = client.post(reverse("setup-meter-feed-new"), typed(plant))
    token = token_on(answer)
    assert "no-store" in answer["Cache-Control"]
    assert MeterFeed.objects.get().token_digest == digest_of(token)
    for address in (
        reverse("setup-meter-feeds"),
        reverse("setup-meter-feed", args=["M1"]),
        reverse("setup"),
        "/api/",
    ):
        assert token not in client.get(address).content.decode(), address
    assert token not in str(dict(client.session))
    again = client.post(reverse("setup-meter-feed-new"), typed(plant))
    assert again.status_code == 422 and token not in again.content.decode(), (
        "sent twice it makes no second one"
    )
    assert MeterFeed.objects.count() == 1


def test_renewed_revoked_closed_and_opened_again(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("administrator")
    first = token_on(client.post(reverse("setup-meter-feed-new"), typed(plant)))
    second = token_on(sent(client, "setup-meter-feed-renew"))
    assert first != second
    page = text_of(client.get(reverse("setup-meter-feed", args=["m1"])))
    assert "Sends by a token over HTTP and topic rinse/c1/outlet to the rinse that runs in vessel C1." in page
    assert "meter-m1, a device" in page and "was given a new token (It was seen.)" in page
    assert sent(client, "setup-meter-feed-revoke").status_code == 302
    assert "Sends by topic rinse/c1/outlet to" in text_of(
        client.get(reverse("setup-meter-feed", args=["M1"]))
    )
    assert sent(client, "setup-meter-feed-close").status_code == 302
    assert "Closed. Nothing is taken from it" in text_of(client.get(reverse("setup-meter-feed", args=["M1"])))
    third = token_on(sent(client, "setup-meter-feed-open"))
    assert third not in (first, second)


def test_settings_change_and_the_list_says_how_each_sends(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    client.post(reverse("setup-meter-feed-new"), typed(plant))
    answer = sent(client, "setup-meter-feed-change", vessel=plant.vessels["A1"].pk, topic="")
    assert answer.status_code == 302
    page = text_of(client.get(reverse("setup-meter-feeds")))
    assert "1 in-line meter may send readings." in page and "It opens no valve" in page
    assert "M1 Outlet of C1 CELL A1 meter-m1 – open: HTTP" in page


def test_refusals_stand_beside_their_field_and_what_was_typed_stays(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    answer = client.post(reverse("setup-meter-feed-new"), typed(plant, topic="rinse/#"))
    assert answer.status_code == 422 and "no wildcard" in errors_of(answer)["topic"][0]
    assert "Outlet of C1" in answer.content.decode()
    answer = client.post(reverse("setup-meter-feed-new"), typed(plant, instrument=plant.instruments["PH"].pk))
    assert "no choice here" in errors_of(answer)["instrument"][0]
    assert not MeterFeed.objects.exists()


def test_a_page_that_is_out_of_date_makes_no_second_token(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    client.post(reverse("setup-meter-feed-new"), typed(plant))
    url = reverse("setup-meter-feed-renew", args=["M1"])
    data = {**form_data(client.get(url).context["form"]), "reason": "It was seen."}
    token_on(client.post(url, data))
    answer = client.post(url, data)
    assert answer.status_code == 409 and "data-token" not in answer.content.decode()


def test_others_look_and_do_nothing(plant: factories.SmallPlant, as_: Callable[[str], Client]) -> None:
    as_("supervisor").post(reverse("setup-meter-feed-new"), typed(plant))
    client = as_("operator")
    page = text_of(client.get(reverse("setup-meter-feed", args=["M1"])))
    assert "This takes" in page
    for name in ("renew", "revoke", "close", "open", "change"):
        assert client.post(reverse(f"setup-meter-feed-{name}", args=["M1"]), {}).status_code == 403
    assert client.post(reverse("setup-meter-feed-new"), {}).status_code == 403


def test_a_cell_out_of_calibration_is_said(plant: factories.SmallPlant, as_: Callable[[str], Client]) -> None:
    client = as_("supervisor")
    client.post(reverse("setup-meter-feed-new"), typed(plant, instrument=plant.instruments["OLD-CELL"].pk))
    assert "not in calibration, so what it sends informs and proves nothing" in text_of(
        client.get(reverse("setup-meter-feed", args=["M1"]))
    )
