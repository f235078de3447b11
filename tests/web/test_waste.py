"""The pages of the waste: tanks, one tank, its acts, where steps drain, the determination of the site."""

from __future__ import annotations

import pytest
from django.urls import reverse

from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import SiteDetermination, WasteTank
from regenplant.waste import selectors, services
from regenplant.waste.models import StepDrain, WasteMovement
from tests import factories
from tests.factories import SmallPlant
from tests.waste.metals import flagged_batch
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    """Spent acid of a cation batch that still rinses stands in the tank."""
    plant = factories.plant_today()
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    return plant


def tank() -> WasteTank:
    return WasteTank.objects.get(code="N1")


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    return batch


def test_the_waste_says_what_stands_what_comes_and_where_it_went(plant, batch, as_) -> None:
    text = text_of(as_("supervisor").get(reverse("waste")))
    assert "batches under way bring" in text and batch.number in text
    assert "Waste tank (neutralization)" in text
    assert "no determination of the site is on record" in text


def test_one_tank_with_its_composition_and_plan(plant, batch, as_) -> None:
    answer = as_("operator").get(reverse("waste-tank", args=["n1"]))
    text = text_of(answer)
    for words in (
        "Acid to spare",
        "Chloride",
        "pH, predicted",
        "First stage",
        "from a batch",
        "L at most",
    ):
        assert words in text, words
    assert (
        answer.status_code == 200
        and as_("operator").get(reverse("waste-tank", args=["NO"])).status_code == 404
    )


def test_an_empty_tank_and_no_tank_say_so(plant, as_) -> None:
    assert "The tank is empty by the books." in text_of(
        as_("operator").get(reverse("waste-tank", args=["N1"]))
    )
    assert "No batch under way sends anything" in text_of(as_("operator").get(reverse("waste")))


def test_reading_and_treating_by_the_forms(plant, batch, as_) -> None:
    operator = as_("operator")
    url = reverse("waste-read", args=["N1"])
    meter = plant.instruments["PH"].pk
    level = selectors.standing(tank()).volume_m3
    data = {
        "level_m3": f"{level} m3",
        "ph": "1.4",
        "instrument": meter,
        "temperature_kelvin": "25 C",
        "version": tank().version,
    }
    assert operator.post(url, data | {"instrument": ""}).status_code == 422
    assert operator.post(url, data).status_code == 302
    assert operator.post(url, data | {"note": "again"}).status_code == 409, "a stale page"
    row = WasteMovement.objects.order_by("-number")[0]
    assert (row.kind, row.ph) == ("reading", 1.4)

    url = reverse("waste-treat", args=["N1"])
    page = operator.get(url)
    assert "heat, spatter, gas" in text_of(page)
    data = {"chemical": "naoh", "volume_m3": "5 L", "volume_again_m3": "6 L", "shown_number": row.number}
    refused = operator.post(url, data)
    assert refused.status_code == 422 and "Nothing was written" in text_of(refused)
    assert operator.post(url, data | {"volume_again_m3": "5 L"}).status_code == 302
    assert WasteMovement.objects.order_by("-number")[0].kind == "treatment"
    assert operator.post(url, data | {"volume_again_m3": "5 L"}).status_code == 409


def test_taking_away_is_for_supervisor_and_safety_lead(plant, batch, as_) -> None:
    url = reverse("waste-take-away", args=["N1"])
    data = {"volume_m3": "100 L", "collector": "Tansy Hollow Hauling", "document": "TH 118"}
    assert as_("operator").post(url, data).status_code == 403
    assert as_("safety").post(url, data).status_code == 302
    assert WasteMovement.objects.order_by("-number")[0].volume_m3 == pytest.approx(-0.1)


@pytest.mark.requirement("EV-01")
def test_where_a_step_drains_is_chosen_on_its_page(plant, as_) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    step = batch.steps.get(kind="inject")
    url = reverse("waste-route", args=[batch.number, step.number])
    assert "brine to the sewer" in text_of(as_("operator").get(url))
    batch.refresh_from_db()
    data = {
        "destination": "brine_sewer",
        "reason": "The waste tank is being cleaned.",
        "version": batch.version,
    }
    assert as_("operator").post(url, data).status_code == 302
    assert StepRun.objects.get(pk=step.pk).drains_to == "brine_sewer"
    load = batch.steps.get(kind="load")
    assert as_("operator").get(reverse("waste-route", args=[batch.number, load.number])).status_code == 404


@pytest.mark.requirement("EV-02")
def test_over_http_metals_never_go_to_the_waste_tank(plant, as_) -> None:
    batch = flagged_batch(plant)
    step = batch.steps.get(kind="inject")
    url = reverse("waste-route", args=[batch.number, step.number])
    assert "waste tank (neutralization)" not in text_of(as_("safety").get(url)).split("Write")[1]
    data = {"destination": "neutralization", "reason": "Only traces of copper.", "version": batch.version}
    assert as_("safety").post(url, data).status_code == 422
    assert StepRun.objects.get(pk=step.pk).drains_to == "metal_drum"


@pytest.mark.requirement("EV-03")
def test_a_determination_is_written_by_who_may(plant, as_) -> None:
    url = reverse("waste-site")
    data = {
        "decided_on": "2026-01-15", "document": "Letter of the state office, file 26-118 (invented)",
        "reviewer": "S. Quill, safety lead", "accepts_metal": "yes", "valid_until": "", "scope": "",
    }  # fmt: skip
    assert as_("operator").post(url, data).status_code == 403
    bad = as_("safety").post(url, data | {"valid_until": "2025-01-01"})
    assert bad.status_code == 422 and "before the day of the document" in text_of(bad)
    assert as_("safety").post(url, data).status_code == 302
    assert SiteDetermination.objects.get().accepts_metal
    assert "Taken in by written disposition" in text_of(as_("safety").get(reverse("waste")))


def test_the_class_table_stands_on_its_page(plant, as_) -> None:
    text = text_of(as_("operator").get(reverse("waste-routes")))
    assert "F Metal-bearing" in text and "metal drum, reclaim" in text and "nowhere" in text


def test_the_page_says_where_the_drains_run_and_switches_them(plant, batch, as_) -> None:
    settings = plant_services.WasteTankSettings("N2", "Second tank", 300.0, 3.0)
    plant_services.save_waste_tank(by=plant.by("supervisor"), tank=settings)
    client, url = as_("operator"), reverse("waste-switch", args=["N2"])
    text = text_of(client.get(reverse("waste")))
    assert "The drains run to N1" in text and "Let the drains run here" in text
    page = client.get(url)
    seen = page.context["form"]
    answer = client.post(
        url,
        {
            "reason": "N1 is full",
            "shown_receiving": seen["shown_receiving"].value(),
            "version": seen["version"].value(),
        },
    )
    assert answer.status_code == 302 and WasteTank.objects.get(code="N2").receives
    assert "The drains run to N2" in text_of(client.get(reverse("waste")))
    first = text_of(client.get(reverse("waste-tank", args=["N1"])))
    assert "so nothing comes into this one" in first and "Let the drains run here" in first
    again = client.post(
        url, {"reason": "N1 is full", "shown_receiving": "N1", "version": seen["version"].value()}
    )
    assert again.status_code == 409 and "The drains run to N2 by now" in text_of(again)
    assert as_("planner").post(url, {"reason": "N1 is full"}).status_code == 403
    assert "N2" in text_of(client.get(reverse("setup-supplies")))


def test_a_batch_says_where_its_steps_drain(plant, batch, as_) -> None:
    client = as_("operator")
    url = reverse("waste-batch", args=[batch.number])
    assert url in client.get(reverse("batches-detail", args=[batch.number])).content.decode()
    answer = client.get(url)
    rows = {row.number: row for row in answer.context["rows"]}
    done = {one.step_number: one.volume_m3 for one in StepDrain.objects.filter(batch=batch)}
    assert {number: row.went for number, row in rows.items() if row.went is not None} == done and done
    waiting = batch.steps.filter(state="waiting", number__in=rows)
    assert all(rows[step.number].url and rows[step.number].went is None for step in waiting) and waiting
    assert not any(rows[number].url for number in done)
    assert "waste tank (neutralization)" in text_of(answer) and "backwash drain" in text_of(answer)
    assert client.get(reverse("waste-batch", args=["B-99999"])).status_code == 404
