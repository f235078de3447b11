"""The pages of a resin lot: looked at by everybody, its acts, bad input, a stale page, its trace and its sheet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.models import IssuedPaper
from regenplant.resins.bodies import moves_of, stored_m3
from regenplant.resins.models import ResinLot
from regenplant.resins.services import Counted, count_stored
from tests import factories
from tests.batches.test_topping_up import received, top_up, with_lot
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.plant_today()


@pytest.fixture
def lots(plant: SmallPlant) -> dict[str, ResinLot]:
    """Three lots of one key in the store, the last of them new."""
    return {
        "R-1": received(plant, "R-1", cycles=8),
        "R-2": received(plant, "R-2"),
        "R-3": received(plant, "R-3", is_new=True),
    }


def address(name: str, code: str) -> str:
    return reverse(f"setup-lot{name}", args=[code])


def seen(client: Client, url: str) -> str:
    """The version that a page was shown with, as its form carries it."""
    return str(client.get(url).context["form"]["version"].value())


def send(client: Client, url: str, **data: Any) -> Any:
    return client.post(url, {"version": seen(client, url), **data}, follow=True)


PAGES = ["", "-mix", "-top-up", "-split", "-count", "-scrap", "-trace"]


@pytest.mark.parametrize("where", [*PAGES, "-conditioned"])
@pytest.mark.parametrize("who", ["operator", "planner", "supervisor"])
def test_everybody_looks_at_every_page(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As, where: str, who: str
) -> None:
    answer = as_(who).get(address(where, "R-3"))
    assert answer.status_code == 200 and "R-3" in text_of(answer)
    assert as_(who).get(address(where, "NONE")).status_code == 404


def test_the_page_says_what_it_is_made_of_and_where_it_stands(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As
) -> None:
    text = text_of(as_("planner").get(address("", "R-1")))
    for words in ("in the store", "200", "at least", "8.0, oldest part 8"):
        assert words in text, words


def test_two_lots_are_mixed_on_the_page(plant: SmallPlant, lots: dict[str, ResinLot], as_: As) -> None:
    """By hand: 107 L in the hydrogen form and 53.5 L make shares of 2 / 3 and 1 / 3."""
    answer = send(
        as_("operator"), address("-mix", "R-1"), code="M-1", segregation_class="D", form="H", volume="107 L", lot_1=lots["R-2"].pk,
        volume_1="53.5 L", mixture="160.5 L", reason="Two half drums into one",
    )  # fmt: skip
    text = text_of(answer)
    assert answer.status_code == 200 and "66.7" in text and "33.3" in text
    assert stored_m3(ResinLot.objects.get(code="M-1")) == pytest.approx(0.150)
    assert "mixed in the store" in text


def test_what_was_typed_wrongly_is_said_beside_its_field_and_stays(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As
) -> None:
    client, url = as_("operator"), address("-mix", "R-1")
    data = {"code": "M-1", "segregation_class": "D", "form": "Na", "lot_1": lots["R-2"].pk, "volume_1": "50 L", "mixture": "100 L", "reason": "Two half drums"}  # fmt: skip
    for change, words in (
        ({"volume": "half a drum"}, "half a drum"),
        ({"volume": "900 L"}, "by the book"),
        ({"volume": "50 L", "mixture": "60 L"}, "They may lie 5 % apart"),
        ({"volume": "50 L", "lot_1": lots["R-3"].pk}, "not conditioned yet"),
        ({"volume": "50 L", "lot_2": lots["R-3"].pk}, "Write how much of R-3 was taken"),
    ):
        answer = send(client, url, **{**data, **change})
        assert answer.status_code in (409, 422), change
        assert words.replace(" ", "") in text_of(answer).replace("\xa0", "").replace(" ", ""), change
        assert "Two half drums" in answer.content.decode()
    assert not ResinLot.objects.filter(code="M-1").exists()


def test_new_resin_is_conditioned_then_topped_up_with(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As
) -> None:
    client = as_("operator")
    send(client, address("-conditioned", "R-3"), how="Backwash, double dose, rinse of 12 BV in C1")
    answer = send(
        client, address("-top-up", "R-1"), code="T-1", with_lot=lots["R-3"].pk, form="Na", added="10 L", whole="208 L", reason="Loss of the year"
    )  # fmt: skip
    assert answer.status_code == 200
    assert stored_m3(ResinLot.objects.get(code="T-1")) == pytest.approx(0.208)


def test_a_lot_is_split_counted_and_scrapped(plant: SmallPlant, lots: dict[str, ResinLot], as_: As) -> None:
    client, boss = as_("operator"), as_("supervisor")
    send(client, address("-split", "R-1"), form="Na", code_1="S-1", volume_1="30 L", code_2="S-2", volume_2="20 L", reason="Small drums for the bench")  # fmt: skip
    assert stored_m3(lots["R-1"]) == pytest.approx(0.150) and ResinLot.objects.filter(code="S-2").exists()
    send(client, address("-count", "R-1"), volume="148 L", form="Na", reason="Yearly count of the store")
    assert stored_m3(lots["R-1"]) == pytest.approx(0.148)
    send(boss, address("-scrap", "R-1"), volume="8 L", form="Na", reason="Fines and broken beads")
    assert stored_m3(lots["R-1"]) == pytest.approx(0.140)
    send(boss, address("-scrap", "R-1"), form="Na", reason="The rest is oxidized")
    assert stored_m3(lots["R-1"]) == 0.0
    text = text_of(client.get(address("", "R-1")))
    assert "Nothing of it stands" in text and "Scrapped out of the store" in text


def test_a_stale_page_is_refused_and_keeps_what_was_typed(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As
) -> None:
    client, url = as_("operator"), address("-split", "R-1")
    shown = seen(client, url)
    count_stored(by=plant.by("operator 2"), resin_lot_id=lots["R-1"].pk, counted=Counted(0.19, "Na"), reason="Counted meanwhile")  # fmt: skip
    answer = client.post(url, {"version": shown, "form": "Na", "code_1": "S-1", "volume_1": "30 L", "reason": "Small drum for tests"})  # fmt: skip
    assert answer.status_code == 409 and "was moved since you opened this page" in text_of(answer)
    assert "Small drum for tests" in answer.content.decode() and moves_of(lots["R-1"]) == 2


@pytest.mark.parametrize("where", ["-mix", "-top-up", "-split", "-count", "-conditioned"])
def test_who_may_not_is_refused_at_the_door(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As, where: str
) -> None:
    assert as_("planner").post(address(where, "R-1"), {}).status_code == 403
    assert as_("operator").post(address("-scrap", "R-1"), {}).status_code == 403


# --- the bed of a batch -----------------------------------------------------------------------------------------------
def test_a_bed_is_topped_up_on_the_page_and_the_offer_goes_with_the_first_chemical(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As
) -> None:
    batch = factories.frozen_batch(plant, "sac_h", with_lot(plant, lots["R-1"]))
    factories.run_to(plant, batch, StepKind.BACKWASH)
    client, page = as_("operator"), reverse("batches-detail", args=[batch.number])
    assert "Top up the bed" in text_of(client.get(page))
    url = reverse("batches-top-up", args=[batch.number])
    answer = send(client, url, lot=lots["R-2"].pk, form="Na", added="10 L", bed="306 L", reason="Lost in the backwash before")  # fmt: skip
    assert answer.status_code == 200 and stored_m3(lots["R-2"]) == pytest.approx(0.190)
    assert batch.top_ups.count() == 1
    factories.run_to(plant, batch, StepKind.INJECT)
    assert "Top up the bed" not in text_of(client.get(page))
    answer = send(client, url, lot=lots["R-2"].pk, form="Na", added="10 L", bed="306 L", reason="Too late for this one")  # fmt: skip
    assert answer.status_code == 422 and "has begun" in text_of(answer)


def test_what_is_left_is_kept_on_the_page(plant: SmallPlant, as_: As) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    client = as_("operator")
    assert "Keep what is left" in text_of(client.get(reverse("batches-detail", args=[batch.number])))
    send(client, reverse("batches-keep-rest", args=[batch.number]), form="H", volume="2 L")
    batch.refresh_from_db()
    assert batch.lot is not None and stored_m3(batch.lot) == pytest.approx(0.002 / 1.07)
    assert "is used once the batch is released" in text_of(client.get(address("", batch.lot.code)))


# --- trace and sheet --------------------------------------------------------------------------------------------------
def test_the_trace_names_lots_batches_tanks_and_customers_both_ways(
    plant: SmallPlant, lots: dict[str, ResinLot], as_: As
) -> None:
    batch = factories.frozen_batch(plant, "sac_h", with_lot(plant, lots["R-1"]))
    factories.run_to(plant, batch, StepKind.BACKWASH)
    running = as_("planner").get(address("-trace", "R-1")).context["trace"]
    assert (running.now_count, running.in_vessels) == (0, (batch.number,)), "its tanks stand empty"
    top_up(plant, batch, lots["R-2"])
    batch = factories.pass_batch(plant, batch)
    assert batch.lot is not None
    down = text_of(as_("planner").get(address("-trace", "R-2")))
    assert batch.lot.code in down and batch.number in down and "1 younger lot" in down
    up = as_("planner").get(address("-trace", batch.lot.code)).context["trace"]
    assert {(one.code, round(one.share_frac, 6)) for one in up.older} == {
        ("R-1", round(296 / 306, 6)),
        ("R-2", round(10 / 306, 6)),
    }


def test_the_sheet_is_an_issue_with_a_hash(plant: SmallPlant, lots: dict[str, ResinLot], as_: As) -> None:
    answer = as_("operator").get(address("-sheet", "R-1"))
    assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
    issue = IssuedPaper.objects.get(kind="resin_lot")
    assert (issue.subject_key, issue.issue_number) == ("R-1", 1)
