"""The trend pages through HTTP: what drifts, one line of lots, failures with their file, looking at a drift, empty states."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.people.models import Person
from regenplant.quality import services
from regenplant.quality.drift import drift_at, open_alerts
from regenplant.quality.models import RinseOutcome, TrendAlert
from tests import factories
from tests.factories import SmallPlant
from tests.quality import outcomes
from tests.quality.outcomes import STEADY
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
ClientOf = Callable[[Person], Client]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.tank_plant(now=timezone.now())


@pytest.fixture
def supervisor(plant: SmallPlant, client_of: ClientOf) -> Client:
    return client_of(plant.people["supervisor"])


@pytest.fixture
def operator_client(plant: SmallPlant, client_of: ClientOf) -> Client:
    return client_of(plant.people["operator"])


def days_ago(days: float) -> Any:
    return timezone.now() - timedelta(days=days)


def line(
    volumes: list[float] | tuple[float, ...], *, first: int = 1, until: float = 0.0, **more: Any
) -> None:
    """Rinses of one line, a day apart, the last so many days ago."""
    count = len(volumes)
    for index, volume in enumerate(volumes):
        more.setdefault("line", "N-1")
        outcomes.outcome(first + index, volume, at=days_ago(until + count - 1 - index), **more).save()


def drifting(plant: SmallPlant, volume: float = 8.0) -> TrendAlert:
    line(STEADY, until=1.0)
    row = outcomes.outcome(13, volume, at=days_ago(0.01))
    row.save()
    drift = drift_at(row)
    assert drift is not None
    alert: TrendAlert = services.raise_drift(by=plant.by("qc"), drift=drift).result
    return alert


# --- the overview -----------------------------------------------------------------------------------------------------------
def test_nothing_judged_yet_is_said_with_when_it_changes(supervisor: Client) -> None:
    page = text_of(supervisor.get(reverse("trends")))
    assert (
        "No batch was judged in the last 12 months. A trend begins with the first rinse that QC judges."
        in page
    )
    assert "A lot is watched from its eighth rinse on." in page


def test_too_few_rinses_say_how_many_are_needed(supervisor: Client) -> None:
    line(STEADY[:3])
    page = text_of(supervisor.get(reverse("trends")))
    assert "Not enough rinses yet to say what drifts: a lot needs 8." in page
    one = text_of(supervisor.get(reverse("trends-lot", args=["N-1"])))
    assert "Not enough rinses yet: 3 rinses count of 8 that limits need." in one


def test_what_drifts_stands_first_and_worst_first(supervisor: Client) -> None:
    line([*STEADY, 8.0], line="N-MILD")
    line([*STEADY, 12.0], first=30, line="N-WORST")
    line(STEADY, first=60, line="N-QUIET")
    answer = supervisor.get(reverse("trends"))
    page = text_of(answer)
    assert "2 lots take more rinse than they did. 100 % of 38 batches passed at once in the last 12" in page
    assert [one.line for one, _ in answer.context["drifting"]] == ["N-WORST", "N-MILD"]
    assert page.index("N-WORST") < page.index("N-MILD") < page.index("N-QUIET")
    assert "B-13 took 8.0" in page and "the upper limit is 7.4" in page


def test_a_quiet_plant_is_called_quiet(supervisor: Client) -> None:
    line(STEADY)
    page = text_of(supervisor.get(reverse("trends")))
    assert "No lot drifts: one line is watched." in page
    assert "No lot with enough rinses takes more than it did." in page


def test_the_window_is_chosen_in_days_of_the_plant(supervisor: Client) -> None:
    line(STEADY, until=200.0)
    assert "No batch was judged in the last 90 days" in text_of(supervisor.get("/trends/?window=90_days"))
    assert "12 batches" in text_of(supervisor.get("/trends/?window=all"))
    day = timezone.localtime(days_ago(200)).date().isoformat()
    assert f"from {day} to {day}" in text_of(supervisor.get(f"/trends/?first={day}&last={day}"))


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("first=1999-12-31", "days run from 2000-01-01 to today"),
        ("last=2999-01-01", "days run from 2000-01-01 to today"),
        ("first=2026-03-02&last=2026-03-01", "Put the earlier day first."),
        ("first=tomorrow", ""),
    ],
)
@pytest.mark.parametrize("page", ["trends", "trends-failures"])
def test_a_window_that_is_none_is_refused(supervisor: Client, page: str, query: str, said: str) -> None:
    answer = supervisor.get(f"{reverse(page)}?{query}")
    assert answer.status_code == 422 and said in text_of(answer)


def test_rules_their_reasons_and_their_sources_stand_on_the_page(supervisor: Client) -> None:
    page = text_of(supervisor.get(reverse("trends")))
    assert (
        "Runs rules for control charts, as in the NIST e-Handbook" in page and "EWMA, NIST e-Handbook" in page
    )
    assert "common practice and this program’s choice" in page


def test_judged_batches_that_no_row_tells_of_are_counted_and_the_command_is_named(
    client_of: ClientOf,
) -> None:
    whole = factories.small_plant(now=factories.hours_ago(9))
    factories.passed_batch(whole, "sac_h")
    RinseOutcome.objects.all().delete()
    page = text_of(client_of(whole.people["supervisor"]).get(reverse("trends")))
    assert "1 judged batch of before is not read into the trends yet." in page and "renew_trends" in page


# --- one line -----------------------------------------------------------------------------------------------------------------
def test_each_point_leads_to_its_batch_and_the_table_says_the_same(supervisor: Client) -> None:
    line([*STEADY, 8.0])
    answer = supervisor.get(reverse("trends-lot", args=["N-1"]))
    page, words = answer.content.decode(), text_of(answer)
    assert len(re.findall(r'<a href="/batches/B-\d+/" tabindex="-1"', page)) == 13
    assert 'role="group"' in page, "links cannot be reached inside an image"
    assert len(re.findall(r'<a[^>]*href="/batches/B-\d+/"[^>]*>B-\d+</a>', page)) == 13
    assert "one rinse above the upper limit" in words and "above the limit" in words
    assert "upper limit 7.4" in words


def test_the_marks_of_the_chart_have_a_key(supervisor: Client) -> None:
    line([*STEADY, 8.0])
    words = text_of(supervisor.get(reverse("trends-lot", args=["N-1"])))
    for mark in ("above a limit, or by a rule", "given up before its end", "rework: counts for nothing", "weighted mean"):  # fmt: skip
        assert mark in words, mark


def test_rules_that_are_met_are_told_apart(supervisor: Client) -> None:
    """A rule's own words hold a comma, so commas cannot part the rules."""
    line([*STEADY, 8.0, 8.0, 8.0])
    words = text_of(supervisor.get(reverse("trends-lot", args=["N-1"])))
    assert "drifts: one rinse above the upper limit; " in words


def test_given_up_and_reworked_rinses_are_named_as_such(supervisor: Client) -> None:
    line(STEADY)
    line([2.0], first=20, is_reached=False, verdict="fail")
    line([9.0], first=21, is_rework=True)
    words = text_of(supervisor.get(reverse("trends-lot", args=["N-1"])))
    assert "given up: at least so much" in words and "rework, not counted" in words
    assert "No drift in the rinse to the end point." in words


def test_time_can_be_followed_instead(supervisor: Client) -> None:
    line(STEADY)
    words = text_of(supervisor.get(f"{reverse('trends-lot', args=['N-1'])}?of=time"))
    assert "No drift in the time to the end point." in words and "minutes to the end point" in words


def test_any_lot_of_the_line_leads_there(supervisor: Client) -> None:
    line(STEADY)
    assert "Lot L-5 belongs to this line." in text_of(supervisor.get(reverse("trends-lot", args=["l-5"])))


@pytest.mark.parametrize("code", ["L-404", "..", "é", "x" * 300])
def test_a_lot_no_batch_knows_is_not_found(supervisor: Client, code: str) -> None:
    assert supervisor.get(f"/trends/lots/{code}/").status_code == 404


def test_a_hundred_rinses_draw_the_newest_sixty_and_list_all(supervisor: Client) -> None:
    line([6.8 + 0.01 * (index % 7) for index in range(100)])
    answer = supervisor.get(reverse("trends-lot", args=["N-1"]))
    assert answer.content.decode().count('tabindex="-1" aria-label="B-') == 60
    assert "the last 60 of 100" in text_of(answer)


def test_the_rinses_come_as_a_file(supervisor: Client) -> None:
    line([*STEADY, 8.0])
    answer = supervisor.get(f"{reverse('trends-lot', args=['N-1'])}?_export=csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == 13 and rows[0]["Batch"] == "B-13" and float(rows[0]["Rinse, BV"]) == 8.0


# --- failures ---------------------------------------------------------------------------------------------------------------------
def test_failures_are_listed_gathered_and_given_as_a_file(supervisor: Client) -> None:
    line(STEADY)
    line([3.0], first=20, verdict="fail", is_reached=False, reason="=plateau above its limit", vessel="C2")
    answer = supervisor.get(reverse("trends-failures"))
    words = text_of(answer)
    assert "1 of 13 batches failed or were given up in the last 12 months." in words
    assert "nobody said yet" in words and "LOT-hcl" in words and "B-20" in words and "C2" in words
    file = supervisor.get(f"{reverse('trends-failures')}?_export=csv")
    assert file["Content-Type"].startswith("text/csv")
    (row,) = csv.DictReader(io.StringIO(file.content.decode("utf-8-sig")))
    assert row["Batch"] == "B-20" and row["Cause"] == "nobody said yet"
    assert row["Why it failed"] == "'=plateau above its limit", "no spreadsheet runs what a person wrote"


def test_failures_are_narrowed_by_what_is_chosen(supervisor: Client) -> None:
    line([6.9], verdict="fail", vessel="C2", family="sba_1")
    line([6.9], first=2, verdict="fail")
    here = reverse("trends-failures")
    assert "B-2" not in text_of(supervisor.get(f"{here}?vessel=c2"))
    assert "B-1" not in text_of(supervisor.get(f"{here}?family=sac_h")).replace("B-10", "")
    assert "None of" not in text_of(supervisor.get(f"{here}?cause=unsaid"))
    assert "No batch failed that fits what is chosen." in text_of(supervisor.get(f"{here}?cause=water"))


def test_a_plant_without_failures_says_so(supervisor: Client) -> None:
    line(STEADY)
    assert "None of 12 batches failed in the last 12 months." in text_of(
        supervisor.get(reverse("trends-failures"))
    )


# --- looking at a drift -------------------------------------------------------------------------------------------------------------
def test_a_supervisor_looks_at_a_drift_with_words(plant: SmallPlant, supervisor: Client) -> None:
    alert = drifting(plant)
    look = reverse("trends-look", args=[alert.pk])
    for page in ("trends", "alerts"):
        assert look in supervisor.get(reverse(page)).content.decode(), page
    asked = text_of(supervisor.get(look))
    assert "B-13 took 8.0" in asked and "one rinse above the upper limit" in asked
    answer = supervisor.post(look, {"words": "Sampled for organics; the result comes on Friday."})
    assert answer.status_code == 302
    alert.refresh_from_db()
    assert alert.looked_by == plant.people["supervisor"]
    words = text_of(supervisor.get(reverse("trends-lot", args=["N-1"])))
    assert "Sampled for organics; the result comes on Friday." in words
    assert "It comes again when a rinse takes more than 8.0" in words
    assert "No alert waits." in text_of(supervisor.get(reverse("alerts")))


def test_words_that_say_nothing_are_refused_on_the_page(plant: SmallPlant, supervisor: Client) -> None:
    alert = drifting(plant)
    look = reverse("trends-look", args=[alert.pk])
    assert "at least 10 characters" in text_of(supervisor.post(look, {"words": "seen"}))
    assert supervisor.post(look, {"words": ""}).status_code in (409, 422)
    assert open_alerts().count() == 1


def test_a_drift_somebody_looked_at_is_not_looked_at_again(plant: SmallPlant, supervisor: Client) -> None:
    alert = drifting(plant)
    services.look_at_trend(
        by=plant.by("supervisor"), alert_id=alert.pk, words="Totalizer read high; calibrated."
    )
    answer = supervisor.post(
        reverse("trends-look", args=[alert.pk]), {"words": "Totalizer read high; I say."}
    )
    assert answer.status_code in (409, 422) and "looked at this drift already" in text_of(answer)
    alert.refresh_from_db()
    assert alert.words == "Totalizer read high; calibrated."


@pytest.mark.parametrize("who", ["operator", "qc", "planner", "safety"])
def test_others_see_the_drift_and_why_they_do_not_settle_it(
    plant: SmallPlant, client_of: ClientOf, who: str
) -> None:
    alert = drifting(plant)
    client = client_of(plant.people[who])
    assert "This takes a supervisor." in text_of(client.get(reverse("trends")))
    answer = client.post(
        reverse("trends-look", args=[alert.pk]), {"words": "Sampled for organics; the result comes."}
    )
    assert answer.status_code == 403
    assert open_alerts().count() == 1


def test_nobody_signed_in_sees_no_trend(client: Client) -> None:
    for page in ("trends", "trends-failures"):
        assert client.get(reverse(page)).status_code == 302


def test_an_alert_that_is_none_is_not_found(supervisor: Client) -> None:
    assert supervisor.get(reverse("trends-look", args=[404])).status_code == 404


def test_the_head_of_every_page_counts_the_drift_for_who_may_settle_it(
    plant: SmallPlant, supervisor: Client, operator_client: Client
) -> None:
    drifting(plant)
    assert "1 alert" in text_of(supervisor.get(reverse("trends")))
    assert "1 alert" not in text_of(operator_client.get(reverse("trends")))


def test_the_handover_leads_to_the_drift(plant: SmallPlant, client_of: ClientOf) -> None:
    drifting(plant)
    answer = client_of(plant.people["operator"]).get("/handover/")
    assert "Lot N-1 takes more rinse than it did." in text_of(answer)
    assert reverse("trends-lot", args=["N-1"]) in answer.content.decode()


# --- queries and time ---------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("address", ["/trends/", "/trends/failures/", "/trends/lots/N-3/"])
def test_a_page_asks_the_same_number_of_queries_for_more_batches(
    supervisor: Client, address: str, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    outcomes.many(200, end=timezone.now())
    with django_assert_max_num_queries(40) as few:
        supervisor.get(address)
    RinseOutcome.objects.all().delete()
    outcomes.many(900, end=timezone.now())
    with django_assert_max_num_queries(len(few.captured_queries)):
        supervisor.get(address)
    assert len(few.captured_queries) <= 25


def test_pages_over_five_thousand_batches_come_in_time(supervisor: Client) -> None:
    """Bound: 0.6 s of this program's own time for a whole page with its frame; measured on two slow cores 162, 112 and 42 ms."""
    outcomes.many(5000, end=timezone.now())
    for address in ("/trends/", "/trends/failures/", "/trends/lots/N-3/"):
        took = []
        for _ in range(3):
            begun = time.process_time()
            assert supervisor.get(address).status_code == 200
            took.append(time.process_time() - begun)
        assert min(took) < 0.6, f"{address}: {min(took):.3f} s"
