"""The emergency page, readable signed out (CS-09), and the eyewash test."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import Place
from regenplant.chemicals.services import DataSheetContent, add_data_sheet
from regenplant.plant.models import PlantProfile
from regenplant.plant.services import ProfileSettings, save_profile
from regenplant.web.areas.emergency import EyewashForm
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, text_of

pytestmark = pytest.mark.django_db
URL = "/emergency/"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.small_plant(now=factories.hours_ago(2))
    profile = PlantProfile.objects.get()
    settings = ProfileSettings(
        name="Test plant",
        shower_places="Between C1 and C2\nUnloading door",
        spill_text="Shut the red valves",
        call_text="Plant emergency 555",
    )
    save_profile(by=plant.by("administrator"), profile=settings, version=profile.version)
    sheet = DataSheetContent(
        "hcl", "Northfold (invented)", date(2025, 3, 1), "32 %", "Danger", ("H314",), (), ("GHS05",)
    )
    add_data_sheet(by=plant.by("safety"), sheet=sheet)
    return plant


@pytest.mark.requirement("CS-09")
def test_a_stranger_reads_where_to_wash_what_to_do_and_whom_to_call(
    client: Client, plant: SmallPlant
) -> None:
    answer = client.get(URL)
    shown = text_of(answer)
    assert answer.status_code == 200
    for words in (
        "Plant emergency 555",
        "Between C1 and C2",
        "Unloading door",
        "Shut the red valves",
        "B-HCL",
        "Hydrochloric acid",
    ):
        assert words in shown
    assert "H314 Causes severe skin burns and eye damage." in shown and "Northfold (invented)" in shown


@pytest.mark.requirement("CS-09")
def test_a_stranger_is_shown_nothing_else(client: Client, plant: SmallPlant) -> None:
    content = client.get(URL).content.decode()
    assert (
        reverse("emergency-eyewash") not in content
        and 'id="index"' not in content
        and "Record chain" not in content
    )
    assert client.get(reverse("emergency-eyewash")).status_code == 302


def test_before_set_up_it_says_what_is_missing_and_never_fails(client: Client, db: None) -> None:
    shown = text_of(client.get(URL))
    assert (
        "Whom to call is not written yet" in shown
        and "Look for the green signs" in shown
        and "keep upwind" in shown
    )


def test_what_the_plant_writes_is_escaped(client: Client, plant: SmallPlant) -> None:
    PlantProfile.objects.update(call_text="<script>alert(1)</script>")
    assert "<script>alert(1)" not in client.get(URL).content.decode()


def test_an_overdue_test_is_said(client: Client, plant: SmallPlant) -> None:
    PlantProfile.objects.update(eyewash_tested_on=timezone.now().date() - timedelta(days=9))
    assert "The eyewash test is 2 days overdue. No chemical starts until it is written down." in text_of(
        client.get(URL)
    )


def test_a_test_is_written_and_a_failed_one_stops_chemicals(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client, url = as_("operator"), reverse("emergency-eyewash")
    form = client.get(url).context["form"]
    assert isinstance(form, EyewashForm)
    assert client.post(url, form_data(form) | {"answer": "works"}).status_code == 302
    form = client.get(url).context["form"]
    no_words = client.post(url, form_data(form) | {"answer": "fails"})
    assert no_words.status_code == 422 and "at least 5 characters" in errors_of(no_words)["note"][0]
    client.post(url, form_data(form) | {"answer": "fails", "note": "Left one dry, told safety"})
    assert PlantProfile.objects.get().eyewash_tested_on is None
    assert "No working eyewash test is written down" in text_of(client.get(URL))


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"tested_on": ""}, "tested_on", "Nothing is written here yet"),
        ({"tested_on": "yesterday"}, "tested_on", "This is no day"),
        ({"tested_on": "2199-01-01"}, "tested_on", "still to come"),
        ({"answer": ""}, "answer", "Nothing is written here yet"),
        ({"answer": "maybe"}, "answer", "is no choice here"),
        ({"note": "x" * 201}, "note", "201 characters are written"),
    ],
)
def test_a_bad_entry_is_refused_beside_its_field(
    plant: SmallPlant, as_: Callable[[str], Client], changed: dict[str, Any], field: str, words: str
) -> None:
    client, url = as_("operator"), reverse("emergency-eyewash")
    data = form_data(client.get(url).context["form"]) | {"answer": "works"} | changed
    answer = client.post(url, data)
    assert answer.status_code == 422 and words in " ".join(errors_of(answer)[field])


def test_a_stale_page_and_a_planner_are_refused(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("operator"), reverse("emergency-eyewash")
    data = form_data(client.get(url).context["form"]) | {"answer": "works"}
    PlantProfile.objects.update(version=99, eyewash_tested_on=None)
    assert client.post(url, data).status_code == 409
    assert as_("planner").post(url, data).status_code == 403


@pytest.mark.requirement("CS-09")
def test_page_and_card_ask_the_same_few_questions_however_long_the_record_is(client: Client) -> None:
    """Anybody may open them, signed out: they stay cheap."""
    plant = factories.plant_today()

    def asked(name: str) -> int:
        client.get(reverse(name))
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse(name)).status_code == 200
        return len(queries)

    def deliver(number: int) -> None:
        chemicals.receive_delivery(
            by=plant.by(), code=f"MORE-{number}", chemical="hcl", certificate_strength_frac=0.32,
            place_id=Place.objects.get(code="B-HCL").pk, grams_100=1_000, is_packaged=True,
        )  # fmt: skip

    deliver(0)  # from now on something stands on top of the check
    first = {name: asked(name) for name in ("emergency", "emergency-card")}
    for number in range(1, 13):
        deliver(number)
    assert {name: asked(name) for name in first} == first and max(first.values()) <= 30
