"""Batches through HTTP: the list, the page of one batch in every state, its steps, entries and stops."""

from __future__ import annotations

import csv
import io
import json
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook

from regenplant.audit.selectors import events_about
from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, Deviation, StepEntry, StepRun
from regenplant.core.process.vocabulary import StepKind
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import FAIL_MEANING
from tests import factories
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def supervisor_client(plant, client_of):
    return client_of(plant.people["supervisor"])


@pytest.fixture
def acid(plant) -> StepRun:
    """A batch with its acid injection running."""
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)


def at(name: str, batch: Batch, *more: Any) -> str:
    return reverse(f"batches-{name}" if name else "batches", args=[batch.number, *more])


def refused(response: Any, sentence: str, status: int = 422) -> str:
    text = text_of(response)
    assert response.status_code == status, text
    assert sentence in text, text
    return text


def version_of(batch: Batch) -> int:
    return Batch.objects.values_list("version", flat=True).get(pk=batch.pk)


def entry(key: str, value: str, **more: Any) -> dict[str, Any]:
    return {"key": key, "value": value, "occurred_at": "", **more}


def typed_twice(client, url: str, data: dict[str, Any], form: str = "") -> Any:
    """Post a critical value, then the same again into the empty field that comes back; the answer to the second."""
    asked = client.post(url, data)
    assert asked.status_code == 200 and "Once more" in asked.content.decode(), asked.status_code
    found = (
        asked.context["form"]
        if form
        else next(card["entry_form"] for card in asked.context["cards"] if card["returned"])
    )
    assert found["value"].value() == "", "the first typing is out of sight"
    return client.post(url, data | {"first": found["first"].value()})


def failed_batch(plant, family: str = "sba_1") -> Batch:
    batch = factories.frozen_batch(plant, family)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    quality_services.decide_batch(
        by=plant.by("qc"), batch_id=batch.pk, verdict="fail", reason="silica far above its limit",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    batch.refresh_from_db()
    return batch


# --- the list ---------------------------------------------------------------------------------------------------------
def test_a_signed_out_person_is_asked_to_sign_in(client, plant, acid):
    batch = acid.batch
    for url in (
        reverse("batches"),
        at("detail", batch),
        at("history", batch),
        at("hold", batch),
        at("fill", batch),
    ):
        response = client.get(url)
        assert response.status_code == 302 and reverse("sign-in") in response["Location"]
    before = StepEntry.objects.count()
    client.post(at("entry", batch, acid.number), entry("strength", "5.1 %"))
    assert StepEntry.objects.count() == before


def numbers(response: Any) -> list[str]:
    return [row.record.number for row in response.context["table"].rows]


def test_the_list_is_narrowed_sorted_and_said_in_a_sentence(plant, operator_client):
    first = factories.frozen_batch(plant, "sac_h")
    second = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, second, StepKind.LOAD)
    page = operator_client.get(reverse("batches"))
    assert "2 batches; 2 are open: 1 ready, 1 running." in text_of(page)
    assert numbers(page) == [second.number, first.number]
    serial = first.tank_links.first().visit.tank.serial
    for query, found in (
        ("state=running", [second.number]), ("vessel=C1", [first.number]), ("family=sac_na", [second.number]),
        (f"find={first.number[-4:]}", [first.number]), (f"find={serial.lower()}", [first.number]),
        ("find=nothing+of+the+kind", []), ("sort=number", [first.number, second.number]),
        ("state=running&vessel=C1", []),
    ):  # fmt: skip
        assert numbers(operator_client.get(f"{reverse('batches')}?{query}")) == found, query


def test_bad_filters_narrow_nothing_and_say_so(plant, operator_client):
    factories.frozen_batch(plant, "sac_h")
    for query, sentence in (
        ("vessel=Z9", "no choice here"), ("family=gold", "no choice here"), ("state=asleep", "No batch fits"),
        (f"find={'x' * 200}", "at most 80"), ("page=999", ""), ("page=x", ""), ("sort=nothing", ""), ("find=%00", "characters"),
    ):  # fmt: skip
        response = operator_client.get(f"{reverse('batches')}?{query}")
        assert response.status_code == 200 and sentence in text_of(response), query


def test_the_list_is_exported_as_csv_and_xlsx(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_h")
    answer = operator_client.get(f"{reverse('batches')}?_export=csv")
    head, row = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    line = dict(zip(head, row, strict=True))
    assert (line["Batch"], line["State"], line["Vessel"], line["Resin, L"]) == (
        batch.number,
        "Ready",
        "C1",
        "306.0",
    )
    assert line["Family"] == "Strong-acid cation, hydrogen form"
    book = load_workbook(io.BytesIO(operator_client.get(f"{reverse('batches')}?_export=xlsx").content))
    assert book.active["A2"].value == batch.number


# --- the page in every state ------------------------------------------------------------------------------------------
def test_a_number_that_nobody_gave_is_no_page(plant, operator_client):
    for name in (
        "detail",
        "plan",
        "history",
        "hold",
        "interrupt",
        "resume",
        "abort",
        "rework",
        "scrap",
        "deviation",
        "fill",
    ):
        for number in ("B-99999", "nothing", "B-1000%00"):
            assert operator_client.get(reverse(f"batches-{name}", args=[number])).status_code == 404


def test_the_page_reads_in_every_state_for_everybody(plant, client_of, outsider):
    people = [*(plant.people[who] for who in ("operator", "qc", "supervisor", "planner")), outsider]
    clients = [client_of(person) for person in people]

    def reads(batch: Batch, *words: str) -> None:
        for client in clients:
            response = client.get(at("detail", batch))
            text = text_of(response)
            assert response.status_code == 200
            assert all(word in text for word in words), text

    batch = factories.frozen_batch(plant, "sac_na")
    reads(batch, "Ready to start", "1 · Load the vessel", "not started")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    reads(batch, "3 · Settle", "Next", "Nothing outside its limits.")
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="the brine is not dissolved yet")
    reads(batch, "Held after backwash", "the brine is not dissolved yet")
    batch_services.resume_batch(by=plant.by(), batch_id=batch.pk, note="the brine is dissolved now")
    factories.run_to(plant, batch, StepKind.INJECT)
    reads(batch, "Running since", "4 · Brine injection", "Do not stop here")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    reads(batch, "Readings of the rinse-down")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    reads(batch, "Awaiting QC", "Measure and judge")
    filled = factories.filled_batch(plant, "sac_h")
    reads(filled, "Release", "A person who took no part")
    failed = failed_batch(plant)
    reads(failed, "Failed.", "silica far above its limit")
    batch_services.scrap_batch(by=plant.by("supervisor"), batch_id=failed.pk, reason="not worth another try")
    reads(failed, "Scrapped")


def test_the_head_says_what_it_is_in_both_units(plant, operator_client, acid):
    text = text_of(operator_client.get(at("detail", acid.batch)))
    assert "Strong-acid cation, hydrogen form, class D. 3 tanks, 306.0 L (10.81 ft³), in vessel C1." in text
    assert "Recipe H-HCL-100 version 1, frozen" in text
    assert "now step 4 of 7" in text


def test_the_acid_step_shows_its_cautions_its_bars_and_its_working(plant, operator_client, acid):
    page = operator_client.get(at("detail", acid.batch))
    text = text_of(page)
    assert "DANGER" in text and "Hydrochloric acid of 31.84 % burns skin and eyes" in text
    assert "Strength at the bed, measured" in text and "not written" in text
    assert "Limit 4.5 to 6 %" in text
    assert "working: volume of HCl stock" in text
    assert "Step done: First write down Strength at the bed, measured" in text
    assert "Hold: Do not stop here: Hydrochloric acid stands in the bed." in text


def test_a_person_who_may_not_write_sees_the_buttons_closed(plant, client_of, acid):
    text = text_of(client_of(plant.people["planner"]).get(at("detail", acid.batch)))
    assert "Write it down: This takes an operator, QC technician or supervisor." in text
    assert "Step done: Only an operator or supervisor may do this." in text


# --- starting ---------------------------------------------------------------------------------------------------------
def test_a_batch_starts_when_its_ticks_stand(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_h")
    page = operator_client.get(at("detail", batch))
    assert "Start loading: Before the start, write down: Vessel empty" in text_of(page)
    refused(
        operator_client.post(at("start", batch), {"version": batch.version}), "Before the start, write down"
    )
    answer = operator_client.post(at("ticks", batch, 1), {"tick": ["vessel_ready", "gear_on"]}, follow=True)
    assert "Written: 2 ticks at Load the vessel, by you." in text_of(answer)
    answer = operator_client.post(at("start", batch), {"version": version_of(batch)}, follow=True)
    assert "its tanks are being emptied" in text_of(answer)
    batch.refresh_from_db()
    assert batch.state == "running" and batch.steps.get(number=1).state == "running"


@pytest.mark.requirement("ER-22")
def test_starting_twice_or_from_an_old_page_is_refused(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_h")
    shown = batch.version
    operator_client.post(at("ticks", batch, 1), {"tick": ["vessel_ready", "gear_on"]})
    refused(
        operator_client.post(at("start", batch), {"version": shown}),
        "moved on since this page was shown",
        409,
    )
    shown = version_of(batch)
    assert operator_client.post(at("start", batch), {"version": shown}).status_code == 302
    refused(
        operator_client.post(at("start", batch), {"version": shown}),
        "moved on since this page was shown",
        409,
    )
    refused(operator_client.post(at("start", batch), {}), "does not say which state")
    refused(operator_client.post(at("start", batch), {"version": "x"}), "does not say which state")
    assert batch.steps.filter(state="running").count() == 1


def test_only_who_may_run_starts(plant, client_of):
    batch = factories.frozen_batch(plant, "sac_h")
    factories.write_required(plant, batch.steps.get(number=1), is_before=True)
    for who in ("qc", "planner", "safety"):
        response = client_of(plant.people[who]).post(at("start", batch), {"version": version_of(batch)})
        assert response.status_code == 403
    batch.refresh_from_db()
    assert batch.state == "ready"


def test_acts_are_not_done_by_looking(plant, operator_client, acid):
    for url in (
        at("start", acid.batch), at("step-start", acid.batch, 5), at("step-finish", acid.batch, 4),
        at("entry", acid.batch, 4), at("ticks", acid.batch, 4), at("fill-finish", acid.batch),
    ):  # fmt: skip
        assert operator_client.get(url).status_code == 405


# --- steps ------------------------------------------------------------------------------------------------------------
def test_a_step_is_started_and_ended_with_the_time_it_happened(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    when = timezone.localtime(plant.now + timedelta(minutes=2))
    data = {"version": version_of(batch), "occurred_at": f"{when:%Y-%m-%d %H:%M}"}
    response = operator_client.post(at("step-start", batch, 3), data)
    refused(response, "Say why it is written only now.")
    assert data["occurred_at"] in response.content.decode(), "what was typed stands in its field again"
    data |= {"late_category": "late", "late_words": "nobody was free at the screen"}
    assert operator_client.post(at("step-start", batch, 3), data).status_code == 302
    settle = batch.steps.get(number=3)
    assert settle.state == "running" and abs(settle.started_at - when) < timedelta(minutes=1)
    early = {"version": version_of(batch), "occurred_at": f"{when - timedelta(hours=1):%Y-%m-%d %H:%M}"}
    operator_client.post(at("ticks", batch, 3), {"tick": ["bed_level"]})
    early["version"] = version_of(batch)
    refused(operator_client.post(at("step-finish", batch, 3), early), "The time lies before Settle started.")
    answer = operator_client.post(at("step-finish", batch, 3), {"version": version_of(batch)}, follow=True)
    assert "Written: step 3, Settle, done." in text_of(answer)


@pytest.mark.requirement("ER-13")
def test_a_step_never_starts_before_the_one_before_it_ended(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    for typed, sentence in (
        (f"{timezone.localtime(plant.now) - timedelta(minutes=30):%Y-%m-%d %H:%M}", "The time lies before Backwash ended."),
        ("25:00", "is no time"), ("yesterday", "is no time"), ("2999-01-01 10:00", "is no time"),
        (f"{timezone.localtime() + timedelta(days=2):%Y-%m-%d %H:%M}", "is still to come"),
    ):  # fmt: skip
        data = {"version": version_of(batch), "occurred_at": typed}
        refused(operator_client.post(at("step-start", batch, 3), data), sentence)
    assert batch.steps.get(number=3).state == "waiting"


def test_steps_keep_their_order_and_unknown_ones_are_no_page(plant, operator_client, acid):
    batch = acid.batch
    response = operator_client.post(at("step-start", batch, 6), {"version": version_of(batch)})
    refused(response, "First: Acid injection, Displacement rinse.")
    for number in (0, 8, 999999999999):
        assert operator_client.post(at("step-start", batch, number), {"version": 1}).status_code == 404


def test_a_step_is_not_done_before_everything_is_written(plant, operator_client, acid):
    response = operator_client.post(at("step-finish", acid.batch, 4), {"version": version_of(acid.batch)})
    refused(response, "First write down Strength at the bed, measured")


def test_whose_end_is_not_reached_ends_only_by_a_supervisor_with_a_reason(
    plant, operator_client, supervisor_client
):
    batch = factories.frozen_batch(plant, "sba_1")
    rinse = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    factories.write_required(plant, rinse, is_before=False)
    page = operator_client.get(at("detail", batch))
    assert reverse("batches-step-end-early", args=[batch.number, 6]) not in page.content.decode()
    page = supervisor_client.get(at("detail", batch))
    assert reverse("batches-step-end-early", args=[batch.number, 6]) in page.content.decode()
    url = at("step-end-early", batch, 6)
    data = {"version": version_of(batch), "reason": "it will not get any better today"}
    assert operator_client.post(url, data).status_code == 403
    refused(supervisor_client.post(url, {**data, "reason": "no"}), "at least 10 characters")
    refused(supervisor_client.post(url, {**data, "reason": ""}), "Nothing is written here yet")
    answer = supervisor_client.post(url, data, follow=True)
    assert "ended early. A deviation is open." in text_of(answer)
    assert Deviation.objects.get(batch=batch).severity == "major"


def test_a_step_is_skipped_formally_or_not_at_all(plant, operator_client, supervisor_client):
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.LOAD, finish=True)
    data = {"version": version_of(batch), "reason": "was backwashed this morning"}
    assert operator_client.post(at("step-skip", batch, 2), data).status_code == 403
    refused(
        supervisor_client.post(at("step-skip", batch, 2), {**data, "reason": "short"}),
        "at least 10 characters",
    )
    answer = supervisor_client.post(at("step-skip", batch, 2), data, follow=True)
    assert "skipped. A deviation is open." in text_of(answer)
    response = supervisor_client.post(at("step-skip", batch, 5), {**data, "version": version_of(batch)})
    refused(response, "never skipped")


# --- the plan and the story -------------------------------------------------------------------------------------------
def test_the_frozen_plan_shows_every_step_and_its_working(plant, operator_client, acid):
    text = text_of(operator_client.get(at("plan", acid.batch)))
    assert "7 · Sample for QC" in text and "Figures and their working" in text and "working" in text
    assert "checks are met" in text


def test_every_figure_and_total_of_a_plan_shows_its_working_on_the_page_and_as_json(
    plant, operator_client, acid
):
    plan = plan_of(acid.batch)
    page = operator_client.get(at("plan", acid.batch))
    view = page.context["plan"]
    assert [len(step.figures) for step in view.steps] == [len(step.figures) for step in plan.steps]
    assert len(view.totals) == len(plan.totals)
    shown = page.content.decode().count('<details class="working"')
    assert shown >= len(plan.totals) + sum(len(step.figures) for step in plan.steps)
    found = json.loads(operator_client.get(at("plan-json", acid.batch)).content)
    assert found["plan_digest"] == acid.batch.plan_digest
    assert {key: total["value_si"] for key, total in found["totals"].items()} == {
        key: total.value for key, total in plan.totals.items()
    }
    for step, planned in zip(found["steps"], plan.steps, strict=True):
        assert set(step["figures"]) == set(planned.figures)
        for key, figure in step["figures"].items():
            estimate = planned.figures[key]
            assert figure["working"]["formula"] == f"{estimate.symbol} = {estimate.formula}"
            assert len(figure["working"]["inputs"]) == len(estimate.inputs)


def test_the_story_is_narrowed_by_person_and_kind(plant, operator_client, acid):
    batch_services.write_entry(
        by=plant.by("operator 2"), step_id=acid.pk, key="strength", text="5.1 %", again="5.1 %"
    )
    page = operator_client.get(at("history", acid.batch))
    whole = page.context["page"].total
    assert "by Operator 1 and Operator 2" in text_of(page)
    url = at("history", acid.batch)
    by_one = operator_client.get(f"{url}?who=Operator+2").context["rows"]
    assert [row.who for row in by_one] == ["Operator 2"] and "5.1 %" in by_one[0].what
    steps = operator_client.get(f"{url}?kind=step").context["rows"]
    assert 0 < len(steps) < whole and all(row.what.startswith("Step") for row in steps)
    nobody = operator_client.get(f"{url}?who=Nobody&kind=zzz")
    assert nobody.context["rows"] == [] and "No act fits what is chosen." in text_of(nobody)


def test_the_story_is_narrowed_by_step_words_corrections_and_late_acts(plant, operator_client, acid):
    written = batch_services.write_entry(
        by=plant.by("operator 2"), step_id=acid.pk, key="strength", text="5.1 %", again="5.1 %"
    ).result
    batch_services.correct_entry(
        by=plant.by("operator 2"), entry_id=written.pk, text="5.2 %", again="5.2 %", category="slip",
        reason="read on the wrong line",
    )  # fmt: skip
    url = at("history", acid.batch)
    (corrected,) = operator_client.get(f"{url}?only=corrections").context["rows"]
    assert corrected.is_correction and "from 5.1 % to 5.2 %" in corrected.what.replace("\u00a0", " ")
    assert "read on the wrong line" in corrected.reason
    assert operator_client.get(f"{url}?only=late").context["rows"] == []
    of_step = operator_client.get(f"{url}?step={acid.name}").context["rows"]
    assert of_step and all(acid.name in row.what for row in of_step)
    found = operator_client.get(f"{url}?words=WRONG+line")
    assert [row.number for row in found.context["rows"]] == [corrected.number]
    assert "One act of" in text_of(found)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("", "Shown: everything."),
        ("who=Operator+1&kind=step", "Shown: Steps, by Operator 1."),
        ("only=late&words=hose", "Shown: late acts only, with “hose”."),
        ("only=nonsense", "Shown: everything."),
        ("kind=zzz", "Shown: acts of the kind zzz."),
    ],
)
def test_the_folded_filters_say_what_is_shown_and_lead_back(operator_client, acid, asked, words):
    response = operator_client.get(f"{at('history', acid.batch)}?{asked}")
    assert words in text_of(response)
    page = response.content.decode()
    assert page.count('<details class="narrow') == 1 and '<details class="narrow chips-only" open' not in page
    folded = page.split('<details class="narrow')[1]
    assert folded.index("<summary") < folded.index("Acts by person") < folded.index("Look for it")
    whole = f'href="{at("history", acid.batch)}">Show everything'
    assert (whole in page) is (words != "Shown: everything.")


def test_each_act_of_the_story_shows_its_number_digest_and_terminal(plant, operator_client, acid):
    event = events_about([("batch", acid.batch.number)]).last()
    row = operator_client.get(at("history", acid.batch)).context["rows"][0]
    assert row.number.replace("\u202f", "") == str(event.number) and row.terminal == "tests"
    assert row.short_digest == f"{event.digest[:4]} {event.digest[4:8]}"


def test_a_long_story_is_paged_and_a_page_past_the_end_is_the_last(plant, operator_client, acid):
    url = at("history", acid.batch)
    last = operator_client.get(f"{url}?page=999999")
    assert last.status_code == 200 and last.context["page"].page == last.context["page"].pages
    for odd in ("-1", "x", "1e9", ""):
        assert operator_client.get(f"{url}?page={odd}&only=%00").context["page"].page == 1


# --- short for the operator -------------------------------------------------------------------------------------------
def test_a_batch_that_waits_for_qc_folds_its_steps_and_keeps_every_entry(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, batch, StepKind.SAMPLE)
    response = operator_client.get(at("detail", batch))
    (group,) = response.context["step_groups"]
    assert len(group.finished) + len(group.rest) == batch.steps.count()
    assert [row.state for row in group.finished].count("waiting") == 0
    entries = [row.id for row in response.context["rows"]] + [
        row.id for folded in response.context["folded"] for row in folded.rows
    ]
    assert len(entries) == len(set(entries)) > len(response.context["rows"])
    assert f"{len(group.finished)} steps are done" in text_of(response)


def test_a_batch_at_its_first_step_folds_nothing(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_na")
    response = operator_client.get(at("detail", batch))
    (group,) = response.context["step_groups"]
    assert not group.finished and response.context["folded"] == ()
    assert 'href="#step-1"' in response.content.decode()
