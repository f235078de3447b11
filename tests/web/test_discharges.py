"""Discharges through HTTP: begun, read, released by another, closed; excursions; the month signed and printed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.plant.models import WasteTank
from regenplant.waste.models import Discharge, DischargeReport, Excursion
from regenplant.waste.month import month_of
from tests import factories
from tests.factories import SmallPlant
from tests.waste import sewer
from tests.web.pages import errors_of, form_data, signing, text_of

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]


@pytest.fixture
def plant() -> SmallPlant:
    """Some hours before now, so that what the pages write comes after."""
    made = factories.plant_today(hours=4.0)
    sewer.permitted(made, expires_on="2099-01-01")
    return made


def at_now(plant: SmallPlant, *, minutes_ago: float = 0.0) -> None:
    plant.now = timezone.now() - timedelta(minutes=minutes_ago)


def proven(plant: SmallPlant) -> Discharge:
    """Proven a minute ago."""
    at_now(plant, minutes_ago=27)
    row = sewer.opened(plant)
    plant.forward(minutes=15)
    sewer.read(plant, row, 7.1)
    plant.forward(minutes=10.5)
    sewer.read(plant, row, 7.2)
    return row


def test_a_discharge_is_begun_and_read_and_says_what_is_missing(plant: SmallPlant, as_: As) -> None:
    operator = as_("operator")
    assert "Nothing was discharged yet" in text_of(operator.get(reverse("waste-discharges")))
    url = reverse("waste-discharge-new")
    data = form_data(operator.get(url).context["form"]) | {"planned_volume_m3": "900 L", "is_mixing": "on"}
    assert as_("planner").post(url, data).status_code == 403
    assert (
        "possible is"
        in errors_of(operator.post(url, data | {"planned_volume_m3": "90 m3"}))["planned_volume_m3"][0]
    )
    assert operator.post(url, data).status_code == 302
    row = Discharge.objects.get()
    page = text_of(operator.get(reverse("waste-discharge", args=[row.number])))
    assert "Missing Mixing needs" in page and "Two good readings, at least 10" in page
    read_url = reverse("waste-discharge-read", args=[row.number])
    reading = {"ph": "4.9", "temperature": "75 °F", "instrument": str(plant.instruments["PH"].pk)}
    answer = operator.post(read_url, reading, follow=True)
    assert (
        "Written, and outside: pH 4.9 is outside 5.5 to 9. Two good readings after it are needed."
        in text_of(answer)
    )
    made = row.readings.get()
    assert (made.temperature_as_typed, round(made.temperature_kelvin, 2)) == ("75 °F", 297.04)
    assert errors_of(operator.post(read_url, reading | {"ph": "70"}))["ph"]
    assert errors_of(operator.post(read_url, reading | {"instrument": ""}))["instrument"]
    assert row.readings.count() == 1


@pytest.mark.requirement("EV-04")
def test_it_is_released_by_another_person_and_closed_with_what_went(plant: SmallPlant, as_: As) -> None:
    row = proven(plant)
    page, release = (
        reverse("waste-discharge", args=[row.number]),
        reverse("waste-discharge-release", args=[row.number]),
    )
    assert "Proven. Another person than who read it releases it" in text_of(as_("operator").get(page))
    assert as_("operator").post(release, signing(plant.people["operator"])).status_code == 403
    supervisor = as_("supervisor")
    sent = form_data(supervisor.get(release).context["form"]) | signing(plant.people["supervisor"])
    assert supervisor.post(release, sent | {"chloride": "20 g/L"}).status_code == 302
    row.refresh_from_db()
    assert row.state == "released" and row.measured_kg_per_m3 == {"chloride": pytest.approx(20.0)}
    assert "The outlet is open" in text_of(as_("operator").get(page))
    close = reverse("waste-discharge-close", args=[row.number])
    operator = as_("operator")
    stale = form_data(operator.get(close).context["form"])
    assert operator.post(close, stale | {"volume_m3": "40 m3"}).status_code == 422
    level = WasteTank.objects.get(code="N1").level_m3
    assert operator.post(close, stale | {"volume_m3": "1 m3"}).status_code == 302
    assert WasteTank.objects.get(code="N1").level_m3 == pytest.approx(level - 1.0)
    assert operator.post(close, stale | {"volume_m3": "1 m3"}).status_code == 409
    shown = text_of(operator.get(page))
    assert "Discharged" in shown and "Chloride 20.0 kg" in shown and "by analysis" in shown


def test_a_release_that_is_not_proven_is_refused_with_all_that_is_missing(plant: SmallPlant, as_: As) -> None:
    at_now(plant, minutes_ago=5)
    row = sewer.opened(plant)
    supervisor, url = as_("supervisor"), reverse("waste-discharge-release", args=[row.number])
    sent = form_data(supervisor.get(url).context["form"]) | signing(plant.people["supervisor"])
    answer = supervisor.post(url, sent)
    assert answer.status_code == 422 and "Two good readings" in text_of(answer)
    row.refresh_from_db()
    assert row.state == "open" and row.signature is None


@pytest.mark.parametrize("has_two", [True, False])
def test_two_people_release_where_the_plant_says_so(plant: SmallPlant, as_: As, has_two: bool) -> None:
    sewer.permitted(plant, expires_on="2099-01-01", is_released_by_two=True)
    row = proven(plant)
    supervisor, url = as_("supervisor"), reverse("waste-discharge-release", args=[row.number])
    page = supervisor.get(url)
    assert "The second person signs here" in text_of(page)
    safety = signing(plant.people["safety"])
    sent = form_data(page.context["form"]) | signing(plant.people["supervisor"])
    sent |= {"second_username": safety["username"], "second_password": safety["password"]} if has_two else {}
    assert supervisor.post(url, sent).status_code == (302 if has_two else 422)
    row.refresh_from_db()
    assert (row.state, row.second_signature is not None) == (
        ("released", True) if has_two else ("open", False)
    )


def test_an_excursion_is_written_followed_up_and_closed_by_another(plant: SmallPlant, as_: As) -> None:
    operator = as_("operator")
    new = reverse("waste-excursion-new")
    assert errors_of(operator.post(new, {"words": "pH low"}))["words"]
    assert operator.post(new, {"words": "the rinse drain showed pH 4.2 for two minutes"}).status_code == 302
    row = Excursion.objects.get()
    assert row.number in text_of(operator.get(reverse("waste-discharges")))
    follow, close = (reverse(f"waste-excursion-{name}", args=[row.number]) for name in ("follow", "close"))
    assert operator.post(follow, {"words": "the valve was marked"}).status_code == 302
    words = {"cause": "the valve to the tank was late", "told": "the town’s office, by telephone"}
    assert operator.post(close, words | signing(plant.people["operator"])).status_code == 403
    safety = as_("safety")
    sent = form_data(safety.get(close).context["form"]) | signing(plant.people["safety"])
    assert set(errors_of(safety.post(close, sent | {"cause": "valve", "told": ""}))) == {"cause", "told"}
    assert safety.post(close, sent | words).status_code == 302
    page = text_of(operator.get(reverse("waste-excursion", args=[row.number])))
    assert "It came from the valve to the tank was late" in page and "the valve was marked" in page
    assert safety.post(close, sent | words).status_code in (409, 422)


def test_a_month_is_looked_at_signed_and_printed_always_the_same(plant: SmallPlant, as_: As) -> None:
    at_now(plant, minutes_ago=60)
    sewer.discharged(plant, 0.5)
    month = month_of(timezone.now())
    supervisor = as_("supervisor")
    assert "not signed yet" in text_of(supervisor.get(reverse("waste-reports")))
    page, url = reverse("waste-report", args=[month]), reverse("waste-report-sign", args=[month])
    assert "The month is not over" in text_of(supervisor.get(page))
    sent = form_data(supervisor.get(url).context["form"]) | signing(plant.people["supervisor"])
    assert as_("operator").post(url, sent).status_code == 403
    as_("operator").post(reverse("waste-excursion-new"), {"words": "foam at the outlet for a minute"})
    assert supervisor.post(url, sent).status_code == 409
    sent = form_data(supervisor.get(url).context["form"]) | signing(plant.people["supervisor"])
    assert supervisor.post(url, sent).status_code == 302
    assert DischargeReport.objects.get().revision == 1
    assert "Revision 1" in text_of(supervisor.get(page))
    paper = reverse("paper-discharge-report", args=[month, 1])
    printed = supervisor.get(paper)
    assert printed["Content-Type"] == "application/pdf" and printed.content.startswith(b"%PDF")
    assert supervisor.get(reverse("paper-discharge-report", args=[month, 2])).status_code == 404
    assert supervisor.get(reverse("waste-report", args=["2026-99"])).status_code == 404
    assert supervisor.get(reverse("waste-report", args=["2999-01"])).status_code == 404


def test_every_address_answers_whoever_looks_and_nothing_strange_is_found(plant: SmallPlant, as_: As) -> None:
    row = proven(plant)
    for name in ("", "-mixing", "-read", "-release", "-close", "-give-up"):
        assert as_("planner").get(reverse(f"waste-discharge{name}", args=[row.number])).status_code == 200
        assert as_("planner").get(reverse(f"waste-discharge{name}", args=["D-99999"])).status_code == 404
    assert as_("operator").get(reverse("waste-excursion", args=["X-1"])).status_code == 404
