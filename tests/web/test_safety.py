"""The safety desk: what waits, near misses by anybody, refused tanks with their letter, rounds of showers and eyewashes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.chemicals.models import Spill
from regenplant.documents.models import IssuedPaper
from regenplant.plant.models import PlantProfile
from regenplant.plant.services import ProfileSettings, save_profile
from regenplant.safety.models import NearMiss, RefusedAway, WashStation, WashTest
from regenplant.safety.services import answer_near_miss, report_near_miss, save_wash_station
from regenplant.tanks import services as tanks
from regenplant.tanks.models import TankVisit
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, text_of

pytestmark = pytest.mark.django_db
DESK = "/safety/"
TOLD = {"kind": "release", "what": "The hose jumped off under water pressure.", "spot": "Unloading door"}
As = Callable[[str], Client]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.tank_plant(now=factories.hours_ago(2))
    save_profile(by=plant.by("supervisor"), profile=ProfileSettings(name="Test plant"))
    return plant


@pytest.fixture
def told(plant: SmallPlant) -> NearMiss:
    row: NearMiss = report_near_miss(by=plant.by("operator"), **TOLD, told_by="A driver").result
    return row


@pytest.fixture
def refused(plant: SmallPlant) -> TankVisit:
    visit = factories.received_tank(plant, "sac_h")
    row: TankVisit = tanks.refuse_tank(
        by=plant.by("safety"), visit_id=visit.pk, reason="The first water is yellow", version=visit.version
    ).result
    return row


@pytest.fixture
def station(plant: SmallPlant) -> WashStation:
    row: WashStation = save_wash_station(
        by=plant.by("supervisor"), code="W1", spot="Between C1 and C2", kind="both"
    ).result
    return row


def posted(client: Client, url: str, data: dict[str, Any]) -> Any:
    """What a browser sends: the page as shown, with ``data`` typed into it."""
    form = client.get(url).context["form"]
    return client.post(url, form_data(form) | data)


# --- the desk ---------------------------------------------------------------------------------------------------------
def test_the_safety_lead_lands_on_the_desk(as_: As) -> None:
    answer = as_("safety").get(reverse("home"))
    assert (answer.status_code, answer.url) == (302, reverse("safety"))
    page = as_("safety").get(DESK)
    tabs = page.context["index_tabs"]
    assert (tabs[0].label, tabs[0].is_current) == ("Safety", True)


def test_an_empty_desk_says_what_is_missing_and_what_is_clear(as_: As, plant: SmallPlant) -> None:
    shown = text_of(as_("safety").get(DESK))
    assert "No working eyewash test is written down" in shown and "No station is listed" in shown
    assert "No tank is held, set aside, or refused and still here." in shown
    PlantProfile.objects.update(eyewash_tested_on=timezone.localdate())
    shown = text_of(as_("safety").get(DESK))
    assert "Nothing waits for a person." in shown and "no near miss waits" in shown


def test_the_desk_names_all_that_waits(
    as_: As, plant: SmallPlant, told: NearMiss, refused: TankVisit, station: WashStation
) -> None:
    second = report_near_miss(by=plant.by("qc"), **TOLD).result
    due = timezone.localdate() + timedelta(days=5)
    answer_near_miss(
        by=plant.by("safety"), near_miss_id=second.pk, cause="A worn clamp.", follow_up="Renew the clamps.", due_on=due
    )  # fmt: skip
    held = factories.received_tank(plant, "sba_1")
    tanks.hold_tank(
        by=plant.by("operator"), visit_id=held.pk, reason="It smells of solvent", version=held.version
    )
    page = as_("safety").get(DESK)
    shown = text_of(page)
    for words in (
        f"{told.number}, leak, splash or spill, Unloading door.",
        "Waits for an answer.",
        f"{second.number}, by {due}",
        "Renew the clamps.",
        "W1, Between C1 and C2. It was never tested.",
        f"{refused.tank.serial} from Moonbase Test Kitchen",
        "The first water is yellow",
        "It smells of solvent",
        "2 tanks stand in quarantine.",
    ):
        assert words in shown, words
    content = page.content.decode()
    assert reverse("paper-refusal-letter", args=[refused.number]) in content
    assert reverse("safety-refused-left", args=[refused.number]) in content
    for who in ("operator", "planner"):
        assert (
            reverse("safety-refused-left", args=[refused.number]) not in as_(who).get(DESK).content.decode()
        )


def test_a_follow_up_past_its_day_calls(as_: As, plant: SmallPlant, told: NearMiss) -> None:
    by = plant.by("safety")
    answer_near_miss(
        by=by, near_miss_id=told.pk, cause="A worn clamp.", follow_up="Renew the clamps.", due_on=timezone.localdate()
    )  # fmt: skip
    assert "Was due" not in text_of(as_("safety").get(DESK))
    NearMiss.objects.update(due_on=timezone.localdate() - timedelta(days=1))
    assert "Renew the clamps. Was due" in text_of(as_("safety").get(DESK))


def test_an_open_spill_calls_until_it_is_closed(as_: As, plant: SmallPlant) -> None:
    row = Spill.objects.create(
        number="S-10001", chemical="hcl", location="Unloading door", reached="hall", what_happened="A drum tipped over.",
        happened_at=plant.now, written_by=plant.people["operator"], written_at=plant.now,
    )  # fmt: skip
    assert "Spill S-10001, hydrochloric acid, Unloading door. A drum tipped over." in text_of(
        as_("safety").get(DESK)
    )
    closed = {
        "closed_by": plant.people["safety"],
        "closed_at": plant.now,
        "closing_words": "Taken up and neutralized.",
    }
    Spill.objects.filter(pk=row.pk).update(state=Spill.State.CLOSED, **closed)
    assert "S-10001" not in text_of(as_("safety").get(DESK))


def test_the_desk_asks_the_same_few_questions_whatever_waits(
    as_: As, plant: SmallPlant, django_assert_max_num_queries: Any
) -> None:
    for _ in range(4):
        report_near_miss(by=plant.by("operator"), **TOLD)
        factories.received_tank(plant, "sac_h")
    client = as_("safety")
    client.get(DESK)
    with django_assert_max_num_queries(38):
        client.get(DESK)


# --- near misses ------------------------------------------------------------------------------------------------------
def test_anybody_tells_one_from_the_foot_of_every_page(as_: As, plant: SmallPlant) -> None:
    url = reverse("safety-near-miss-new")
    for who in ("operator", "planner"):
        client = as_(who)
        assert url in client.get(reverse("emergency")).content.decode()
        assert posted(client, url, TOLD).status_code == 302
    first, second = NearMiss.objects.order_by("id")
    assert (first.reported_by, second.reported_by) == (plant.people["operator"], plant.people["planner"])
    assert "Written: near miss" in text_of(client.get(reverse("safety-near-miss", args=[second.number])))


def test_what_is_missing_is_named_and_nothing_typed_is_lost(as_: As) -> None:
    client, url = as_("operator"), reverse("safety-near-miss-new")
    answer = posted(client, url, {"what": "Leak", "spot": "C1"})
    assert answer.status_code == 422 and "kind" in errors_of(answer)
    answer = posted(client, url, {**TOLD, "what": "Leak"})
    assert any("Write at least 10" in line for line in errors_of(answer)["what"])
    assert 'value="Unloading door"' in answer.content.decode() and not NearMiss.objects.exists()


def test_it_keeps_when_it_happened(as_: As) -> None:
    then = timezone.localtime() - timedelta(hours=30)
    posted(
        as_("operator"), reverse("safety-near-miss-new"), {**TOLD, "occurred_at": f"{then:%Y-%m-%d %H:%M}"}
    )
    row = NearMiss.objects.get()
    assert abs((row.happened_at - then).total_seconds()) < 60 and row.reported_at > row.happened_at


def test_another_person_answers_and_closes(as_: As, told: NearMiss) -> None:
    answer_url = reverse("safety-near-miss-answer", args=[told.number])
    page = reverse("safety-near-miss", args=[told.number])
    assert "This takes a supervisor or safety lead." in text_of(as_("operator").get(page))
    assert as_("operator").post(answer_url, {}).status_code == 403
    client = as_("safety")
    wrong = posted(client, answer_url, {"cause": "A worn clamp.", "follow_up": "Renew the clamps."})
    assert wrong.status_code == 422 and "no day says by when" in errors_of(wrong)["due_on"][0]
    day = f"{timezone.localdate() + timedelta(days=3):%Y-%m-%d}"
    good = {"cause": "A worn clamp.", "follow_up": "Renew the clamps.", "due_on": day}
    stale = client.get(answer_url).context["form"]
    assert posted(client, answer_url, good).status_code == 302
    assert client.post(answer_url, form_data(stale) | good).status_code in (409, 422)
    shown = text_of(client.get(page))
    assert "A worn clamp." in shown and f"to be done by {day}" in shown and "A driver" in shown
    assert posted(client, reverse("safety-near-miss-close", args=[told.number]), {"words": "All are renewed."}).status_code == 302  # fmt: skip
    assert "answered and done" in text_of(client.get(page))


def test_who_told_it_sees_why_they_do_not_answer(as_: As, plant: SmallPlant) -> None:
    row = report_near_miss(by=plant.by("safety"), **TOLD).result
    assert "You reported it. Another person answers." in text_of(
        as_("safety").get(reverse("safety-near-miss", args=[row.number]))
    )


def test_the_list_holds_them_and_goes_out_as_a_file(as_: As, told: NearMiss) -> None:
    url = reverse("safety-near-misses")
    assert "One near miss was reported. One is not done." in text_of(as_("safety").get(url))
    text = b"".join(as_("safety").get(f"{url}?_export=csv")).decode()
    assert told.what in text and "waits for an answer" in text and told.number in text
    assert as_("safety").get(reverse("safety-near-miss", args=["N-99999"])).status_code == 404


# --- refused tanks ----------------------------------------------------------------------------------------------------
def test_the_letter_stands_on_the_page_and_prints_as_an_issue(as_: As, refused: TankVisit) -> None:
    client = as_("safety")
    shown = text_of(client.get(reverse("safety-refused-one", args=[refused.number])))
    assert (
        f"Tank {refused.tank.serial} is not regenerated" in shown
        and "Why: The first water is yellow." in shown
    )
    paper = client.get(reverse("paper-refusal-letter", args=[refused.number]))
    assert paper["Content-Type"] == "application/pdf" and paper.content.startswith(b"%PDF")
    assert (IssuedPaper.objects.get().kind, IssuedPaper.objects.get().subject_key) == (
        "refusal_letter",
        refused.number,
    )
    assert reverse("safety-refused-one", args=[refused.number]) in client.get(
        reverse("intake-visit", args=[refused.number])
    ).content.decode()  # fmt: skip


@pytest.mark.requirement("EV-02")
def test_the_letter_of_a_tank_with_metals_gives_the_refusal_of_its_drain(as_: As, refused: TankVisit) -> None:
    url, words = (
        reverse("safety-refused-one", args=[refused.number]),
        "Metals never enter the waste tank",
    )
    assert words not in text_of(as_("safety").get(url))
    TankVisit.objects.filter(pk=refused.pk).update(customer_words="stood behind the nickel bath")
    assert words in text_of(as_("safety").get(url))


def test_no_letter_of_a_tank_that_is_not_refused(as_: As, plant: SmallPlant) -> None:
    visit = factories.received_tank(plant, "sac_h")
    for name in ("safety-refused-one", "paper-refusal-letter", "safety-refused-left"):
        assert as_("safety").get(reverse(name, args=[visit.number])).status_code == 404


def test_it_left_is_written_once_by_who_may(as_: As, refused: TankVisit) -> None:
    url = reverse("safety-refused-left", args=[refused.number])
    assert as_("operator").post(url, {}).status_code == 403
    client, data = as_("supervisor"), {"went_to": "Back to the customer"}
    form = client.get(url).context["form"]
    assert posted(client, url, {**data, "left_on": "2001-01-01"}).status_code == 422
    assert posted(client, url, data).status_code == 302
    assert client.post(url, form_data(form) | data).status_code in (409, 422)
    assert RefusedAway.objects.get().went_to == "Back to the customer"
    shown = text_of(client.get(reverse("safety-refused")))
    assert "No refused tank stands here." in shown and "To Back to the customer." in shown


# --- showers and eyewashes --------------------------------------------------------------------------------------------
def test_a_round_over_the_stations_is_the_plants_test(as_: As, station: WashStation) -> None:
    client, url = as_("operator"), reverse("safety-washing-round")
    assert client.get(reverse("emergency-eyewash")).url == url  # type: ignore[attr-defined]
    key = f"answer_{station.pk}"
    assert "note_" in str(errors_of(posted(client, url, {key: "fails"})))
    assert posted(client, url, {key: "fails", f"note_{station.pk}": "No water at all"}).status_code == 302
    shown = text_of(client.get(reverse("safety-washing")))
    assert "W1 not working" in shown and "No water at all" in shown
    assert PlantProfile.objects.get().eyewash_tested_on is None
    assert "Did not work on" in text_of(as_("safety").get(DESK))
    assert posted(client, url, {key: "works"}).status_code == 302
    assert PlantProfile.objects.get().eyewash_tested_on == timezone.localdate()
    assert as_("planner").post(url, {}).status_code == 403


def test_a_supervisor_lists_a_station_and_takes_it_out_of_use(as_: As) -> None:
    client = as_("supervisor")
    data = {"code": "w2", "spot": "Yard", "kind": "shower"}
    assert as_("operator").post(reverse("safety-washing-new"), data).status_code == 403
    assert posted(client, reverse("safety-washing-new"), data).status_code == 302
    change = reverse("safety-washing-change", args=["W2"])
    form = client.get(change).context["form"]
    gone = {name: value for name, value in form_data(form).items() if name != "is_in_use"}
    assert client.post(change, gone).status_code == 302
    assert client.post(change, gone | {"spot": "Gate"}).status_code == 409
    assert not WashStation.objects.get().is_in_use
    assert client.get(reverse("safety-washing-round")).url == reverse("emergency-eyewash")  # type: ignore[attr-defined]


def test_a_yearly_inspection_is_written_beside_the_station(as_: As, station: WashStation) -> None:
    url = reverse("safety-washing-inspect", args=["w1"])
    assert posted(as_("operator"), url, {"answer": "fails"}).status_code == 422
    assert posted(as_("operator"), url, {"answer": "works", "note": "20 L/min, 22 °C"}).status_code == 302
    assert WashTest.objects.get().kind == "yearly"


# --- the card ---------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-09")
def test_a_stranger_prints_the_card_and_leaves_no_issue(client: Client, plant: SmallPlant) -> None:
    answer = client.get(reverse("emergency-card"))
    assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
    assert answer["Cache-Control"].startswith("max-age=0") and not IssuedPaper.objects.exists()
    assert client.get(reverse("emergency-card") + "?size=a0").status_code == 400
    assert reverse("emergency-card") in client.get(reverse("emergency")).content.decode()
