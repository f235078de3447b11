"""Chemical use through HTTP: periods, filters, the opening sentence, drill-down, files."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.selectors import chemical_use
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db
URL = "/chemicals/use/"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def as_supervisor(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["supervisor"])


def injected(plant: SmallPlant, family: str, factor: float = 1.0) -> Batch:
    """A batch after its injection, for which ``factor`` of the planned stock was drawn by tank level."""
    batch = factories.frozen_batch(plant, family)
    step = factories.run_to(plant, batch, StepKind.INJECT)
    planned = plan_of(batch).step(step.number)
    factories.write_required(plant, step, is_before=False)
    if factor != 1.0:
        drawn = planned.value("stock_m3") * 1000 * factor
        batch_services.write_entry(
            by=plant.by(),
            step_id=step.pk,
            key="stock_drawn",
            text=f"{drawn:.4f} L",
            again=f"{drawn:.4f} L",
            outside_is_true=True,
        )
    plant.forward(minutes=step.planned_duration_s / 60)
    batch_services.finish_step(by=plant.by(), step_id=step.pk)
    batch.refresh_from_db()
    return batch


# --- the figures --------------------------------------------------------------------------------------------------------
def test_used_and_planned_masses_are_those_of_the_ledger_and_the_frozen_plan(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h", 1.1)
    use = chemical_use(plant.now - timedelta(days=1), plant.now + timedelta(days=1))
    (line,) = use.lines
    # the default dose is 100 g/L on the volume in the form in which the recipe counts it: planned comes from the plan
    planned = plan_of(batch).totals["chemical_kg_100:hcl"].value
    assert line.planned_kg_100 == pytest.approx(planned)
    assert line.used_kg_100 == pytest.approx(1.1 * planned, abs=0.001)  # whole grams
    assert line.variance_frac == pytest.approx(0.1, abs=1e-4) and line.is_outside
    assert line.used_kg_per_m3 == pytest.approx(line.used_kg_100 / batch.resin_volume_m3)


def test_totals_are_the_sums_of_their_lines_and_the_theory_is_never_above_the_plan(plant: SmallPlant) -> None:
    for factor in (1.0, 1.1, 0.98):
        batch = injected(plant, "sac_h", factor)
        factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
        factories.measured_sample(plant, batch)
        _let_go(plant, batch)
    use = chemical_use(plant.now - timedelta(days=1), plant.now + timedelta(days=1))
    (total,) = use.totals
    assert (total.batches, total.family) == (3, ResinFamily.SAC_HYDROGEN)
    assert total.used_kg_100 == pytest.approx(sum(line.used_kg_100 for line in use.lines))
    assert total.variance_frac == pytest.approx(
        (1.0 + 1.1 + 0.98) / 3 - 1, abs=3e-4
    )  # targets are typed with 4 digits
    # standard deviation of 0, +10 and −2 %, by hand: mean 2.667, squares 7.11 + 53.78 + 21.78 over 2, root 6.43 %
    assert total.spread_frac == pytest.approx(0.0643, abs=2e-4)
    assert all(line.theory_kg_100 < line.planned_kg_100 for line in use.lines)
    (over_families,) = use.by_chemical
    assert over_families.family is None and over_families.used_kg_100 == total.used_kg_100


def _let_go(plant: SmallPlant, batch: Batch) -> None:
    """Through QC and filling, so that the vessel is free again."""
    from regenplant.quality.services import decide_batch
    from regenplant.quality.signed_content import PASS_MEANING

    decide_batch(
        by=plant.by("qc"),
        batch_id=batch.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", PASS_MEANING),
    )
    for link in batch.tank_links.select_related("visit"):
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1)
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)


# --- the page -----------------------------------------------------------------------------------------------------------
def test_the_page_opens_with_use_against_plan(as_supervisor: Client, plant: SmallPlant) -> None:
    injected(plant, "sac_h", 1.1)
    injected(plant, "sac_na")
    page = text_of(as_supervisor.get(f"{URL}?period=30_days"))
    assert "Acid 10.0 % over plan and salt as planned in the last 30 days; one batch is outside ±5 %." in page
    assert "Hydrochloric acid as 100 % per resin volume: 1 batch, 0 within ±5 % of plan. Outside:" in page
    assert "Common practice, not a limit of the process." in page


def test_a_line_leads_to_its_batch_and_step(as_supervisor: Client, plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h", 1.1)
    page = text_of(as_supervisor.get(f"{URL}?period=30_days"))
    there = reverse("batches-detail", args=[batch.number])
    assert f'href="{there}"' in page
    step = batch.steps.get(kind=StepKind.INJECT)
    assert f'href="{there}#s-written"' in page and f"{step.number} · HCl" in page
    assert 'id="s-written"' in text_of(as_supervisor.get(there))
    assert re.search(r'<tr class="[^"]*off', page)


def test_an_empty_period_says_so(as_supervisor: Client) -> None:
    page = text_of(as_supervisor.get(f"{URL}?period=last_week"))
    assert "No batch took a chemical last week." in page


def test_family_and_chemical_narrow_the_page(as_supervisor: Client, plant: SmallPlant) -> None:
    acid, salt = injected(plant, "sac_h"), injected(plant, "sac_na")
    for query in ("family=sac_h", "chemical=hcl"):
        page = text_of(as_supervisor.get(f"{URL}?period=30_days&{query}"))
        assert acid.number in page and salt.number not in page, query
    assert "No batch took a chemical" in text_of(
        as_supervisor.get(f"{URL}?period=30_days&family=sac_h&chemical=nacl")
    )


def test_days_are_checked_and_what_was_typed_stays(as_supervisor: Client) -> None:
    today = timezone.localdate()
    tomorrow = today + timedelta(days=1)
    for query, message in (
        (f"first={today}&last={today - timedelta(days=3)}", "Put the earlier day first."),
        (f"first={tomorrow}", f"{tomorrow} is outside: days run from 2000-01-01 to today"),
        ("first=1999-12-31", "1999-12-31 is outside"),
        ("first=0001-01-01", "0001-01-01 is outside"),
        ("first=2024-13-45", "Write the day as 2026-03-11."),
        ("last=now", "Write the day as 2026-03-11."),
        (f"first=2001-01-01&last={today}", "are too many for one page, at most 400."),
        ("family=moss", "is not among the choices"),
        ("chemical=tea", "is not among the choices"),
        ("period=always", "Chemical use"),
    ):
        page = text_of(as_supervisor.get(f"{URL}?{query}"), 422)
        assert message in page, query
    assert 'value="2024-13-45"' in text_of(as_supervisor.get(f"{URL}?first=2024-13-45"), 422)


def test_chosen_days_count_both_ends(as_supervisor: Client, plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    assert batch.started_at is not None
    day = timezone.localtime(batch.started_at).date()
    page = text_of(as_supervisor.get(f"{URL}?first={day}&last={day}"))
    assert f"on {day}" in page and batch.number in page


def test_the_files_hold_every_line_with_bare_numbers(as_supervisor: Client, plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h", 1.1)
    answer = as_supervisor.get(f"{URL}?period=30_days&_export=csv")
    assert answer["Content-Type"].startswith("text/csv") and "chemical-use-" in answer["Content-Disposition"]
    head, row = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    line = dict(zip(head, row, strict=True))
    assert (line["Batch"], line["Chemical"], line["Family"]) == (batch.number, "Hydrochloric acid", "SAC-H")
    assert float(line["Used − plan, %"]) == pytest.approx(10.0, abs=0.01)
    assert float(line["Used, kg"]) == pytest.approx(1.1 * float(line["Plan, kg"]), abs=0.001)
    answer = as_supervisor.get(f"{URL}?period=30_days&_export=xlsx")
    sheet = load_workbook(io.BytesIO(answer.content)).active
    assert sheet is not None
    assert [cell.value for cell in sheet[1]] == head and sheet.max_row == 2


def test_a_question_that_is_not_in_order_gives_no_file(as_supervisor: Client) -> None:
    answer = as_supervisor.get(f"{URL}?first=2024-13-45&_export=csv")
    assert answer.status_code == 422 and answer["Content-Type"].startswith("text/html")


def test_the_page_asks_the_same_number_of_queries_for_more_batches(
    as_supervisor: Client, plant: SmallPlant, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    for family in ("sac_h", "sac_na", "sba_1", "sba_2"):
        injected(plant, family)
    with django_assert_max_num_queries(
        18
    ):  # of which the frame asks eleven: person, plant, chain, alerts, marks of the index
        as_supervisor.get(f"{URL}?period=30_days")


def test_it_is_for_people_who_are_signed_in(client: Client) -> None:
    assert client.get(URL).status_code == 302


def test_every_chemical_has_a_short_name() -> None:
    from regenplant.web.presenters.chemical_use import SHORT

    assert set(SHORT) == set(Chemical)
