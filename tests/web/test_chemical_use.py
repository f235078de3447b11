"""The audit of use through HTTP: periods, groups, filters, drill-down, files, prices, watch levels, the signed report."""

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

from regenplant.chemicals.models import Movement
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.use.models import ChemicalPrice, UseReport, WatchLevels
from tests import factories
from tests.factories import PASSWORD, SmallPlant
from tests.use.made import injected
from tests.web.pages import form_data
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db
URL = "/chemicals/use/"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def as_supervisor(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["supervisor"])


# --- the page -----------------------------------------------------------------------------------------------------------
def test_the_page_opens_with_use_against_plan(as_supervisor: Client, plant: SmallPlant) -> None:
    injected(plant, "sac_h", 1.1)
    injected(plant, "sac_na")
    page = text_of(as_supervisor.get(f"{URL}?period=30_days"))
    assert "Acid 10.0 % over plan and salt as planned in the last 30 days; one batch is outside ±5 %." in page
    assert "Hydrochloric acid as 100 % per resin volume: 1 batch, 0 within ±5 % of plan. Outside:" in page
    assert "Common practice, not a limit of the process." in page


def test_a_line_leads_to_the_use_of_its_batch_and_from_there_to_entry_and_movement(
    as_supervisor: Client, plant: SmallPlant
) -> None:
    batch = injected(plant, "sac_h", 1.1)
    page = text_of(as_supervisor.get(f"{URL}?period=30_days"))
    there = reverse("chemical-use-batch", args=[batch.number])
    assert f'href="{there}"' in page and re.search(r'<tr class="[^"]*off', page)
    one = text_of(as_supervisor.get(there))
    step = batch.steps.get(kind=StepKind.INJECT)
    entry = step.entries.filter(key="stock_drawn").last()
    movement = Movement.objects.get(reference=batch.number)
    assert entry.value_as_typed in one and entry.entered_by.full_name in one
    assert f">{movement.number}<" in one and movement.lot is not None and movement.lot.code in one
    assert f"Batch {batch.number}" in one and "Strength of the plan" in one
    assert "sums that stand beforehand say something else" not in one


def test_an_entry_corrected_after_the_movement_is_told(as_supervisor: Client, plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    wrong = Movement.objects.get(reference=batch.number)
    from regenplant.chemicals import services as chemical_services

    chemical_services.correct_movement(
        by=plant.by("supervisor"), movement_id=wrong.pk, category="other", reason="the level was read wrong"
    )
    one = text_of(as_supervisor.get(reverse("chemical-use-batch", args=[batch.number])))
    assert "One was corrected and the other was not." in one and "takes back" in one


def test_an_unknown_batch_is_not_found(as_supervisor: Client) -> None:
    for number in ("B-99999", "%00", "B-1%0A"):
        assert as_supervisor.get(f"{URL}batches/{number}/").status_code == 404, number


@pytest.mark.parametrize(
    "by", ["family", "vessel", "segregation_class", "shift", "customer", "resin_lot", "chemical_lot", "time"]
)
def test_every_kind_of_group_leads_to_its_own_batches(
    as_supervisor: Client, plant: SmallPlant, by: str
) -> None:
    acid, salt = injected(plant, "sac_h", 1.1), injected(plant, "sac_na")
    response = as_supervisor.get(f"{URL}?period=30_days&by={by}")
    rows = response.context["groups"].rows
    assert {row.record.chemical.value for row in rows} == {"hcl", "nacl"}, by
    for row in rows:
        link = re.search(r'href="([^"]+)"', str(row.get_cell("group")))
        assert link is not None, by
        page = text_of(as_supervisor.get(URL + link[1].replace("&amp;", "&").partition("#")[0]))
        own, other = (acid, salt) if row.record.chemical == Chemical.HYDROCHLORIC_ACID else (salt, acid)
        assert own.number in page and other.number not in page, (by, link[1])


def test_customers_and_lots_together_are_a_page_a_file_and_a_report(
    as_supervisor: Client, plant: SmallPlant
) -> None:
    batch = injected(plant, "sac_h")
    asked = f"period=30_days&by=customer&chemical_lot={plant.lots['hcl'].code}"
    page = text_of(as_supervisor.get(f"{URL}?{asked}"))
    assert batch.number in page and "The lots of a chemical divide all resin of a bed alike." in page
    book = load_workbook(io.BytesIO(as_supervisor.get(f"{URL}?{asked}&_export=xlsx").content))
    assert [row[0].value for row in book["Batches"].iter_rows(min_row=2)] == [batch.number]
    assert batch.number in as_supervisor.get(f"{URL}?{asked}&_export=csv").content.decode()
    assert "nothing to report" not in text_of(as_supervisor.get(f"{URL}reports/new/?{asked}"))


def test_only_what_is_outside_can_be_listed(as_supervisor: Client, plant: SmallPlant) -> None:
    off, fine = injected(plant, "sac_h", 1.1), injected(plant, "sac_na")
    response = as_supervisor.get(f"{URL}?period=30_days&only=outside")
    assert [row.record.row.number for row in response.context["lines"].rows] == [off.number]
    assert "Outside (1)" in text_of(response) and fine.number != off.number


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
        ("family=moss", "is not among the choices"),
        ("chemical=tea", "is not among the choices"),
        ("by=moon", "is not among the choices"),
        ("period=always", "Audit of use"),
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


def test_the_csv_holds_every_line_with_bare_numbers(as_supervisor: Client, plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h", 1.1)
    answer = as_supervisor.get(f"{URL}?period=30_days&_export=csv")
    assert answer["Content-Type"].startswith("text/csv") and "chemical-use-" in answer["Content-Disposition"]
    head, row = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    line = dict(zip(head, row, strict=True))
    assert (line["Batch"], line["Chemical, name"], line["Family"]) == (
        batch.number,
        "Hydrochloric acid",
        "sac_h",
    )
    assert float(line["Used − plan, %"]) == pytest.approx(10.0, abs=0.01)
    assert float(line["Used, kg"]) == pytest.approx(1.1 * float(line["Plan, kg"]), abs=0.001)


def test_the_workbook_holds_numbers_that_agree_from_total_to_movement(
    as_supervisor: Client, plant: SmallPlant
) -> None:
    first, second = injected(plant, "sac_h", 1.1), injected(plant, "sac_na", 0.98)
    answer = as_supervisor.get(f"{URL}?period=30_days&by=vessel&_export=xlsx")
    book = load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == ["Totals", "By vessel", "Batches", "Movements", "About"]

    def column(sheet: str, name: str) -> list[object]:
        rows = list(book[sheet].iter_rows(values_only=True))
        return [row[rows[0].index(name)] for row in rows[1:]]

    for sheet in ("Totals", "By vessel", "Batches"):
        assert all(isinstance(value, (int, float)) for value in column(sheet, "Used, kg")), sheet
        assert sum(column(sheet, "Used, kg")) == pytest.approx(  # type: ignore[arg-type]
            sum(column("Movements", "As 100 %, kg"))  # type: ignore[arg-type]
        )
    assert (
        set(column("Batches", "Batch")) == {first.number, second.number} == set(column("Movements", "Batch"))
    )
    grams = column("Movements", "As 100 %, g, into the batch")
    assert sorted(grams) == sorted(
        Movement.objects.filter(to_place__kind="batch").values_list("grams_100", flat=True)
    )  # type: ignore[type-var]


def test_a_question_that_is_not_in_order_gives_no_file(as_supervisor: Client) -> None:
    answer = as_supervisor.get(f"{URL}?first=2024-13-45&_export=csv")
    assert answer.status_code == 422 and answer["Content-Type"].startswith("text/html")


def test_the_page_asks_the_same_number_of_queries_for_more_batches(
    as_supervisor: Client, plant: SmallPlant, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    for family in ("sac_h", "sac_na", "sba_1", "sba_2"):
        injected(plant, family)
    with django_assert_max_num_queries(
        22
    ):  # of which the frame asks eleven: person, plant, chain, alerts, marks of the index
        as_supervisor.get(f"{URL}?period=30_days")


def test_it_is_for_people_who_are_signed_in(client: Client) -> None:
    assert client.get(URL).status_code == 302


# --- prices -----------------------------------------------------------------------------------------------------------
def price(**change: str) -> dict[str, str]:
    plain = {
        "chemical": "hcl", "price": "0.32", "currency": "eur", "basis": "product", "from_day": "2020-01-01",
        "reason": "contract of spring",
    }  # fmt: skip
    return {**plain, **change}


def test_a_price_gives_the_audit_its_cost(as_supervisor: Client, plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h")
    assert "Cost" not in text_of(as_supervisor.get(f"{URL}?period=30_days"))
    answer = as_supervisor.post(f"{URL}prices/new/", price())
    assert answer.status_code == 302
    assert ChemicalPrice.objects.get().milli_per_kg == 320
    # 0.32 EUR per kg of acid of 32 % is 1.00 EUR per kg as 100 %: the cost is the mass
    (total,) = as_supervisor.get(f"{URL}?period=30_days").context["totals"].rows
    used = Movement.objects.get(reference=batch.number).grams_100
    assert plant.lots["hcl"].certificate_strength_frac == 0.32 and total.record.sums.cost_milli == used
    assert f"{used / 1000:.2f}" in text_of(as_supervisor.get(f"{URL}?period=30_days"))
    assert "contract of spring" in text_of(as_supervisor.get(f"{URL}prices/"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"price": "cheap"}, "is no price"),
        ({"price": "0"}, "allowed is from 0.001 to 10000"),
        ({"price": "0.0005"}, "allowed is from 0.001 to 10000"),
        ({"price": "1e3"}, "is no price"),
        ({"currency": "€"}, "three letters of ISO 4217"),
        ({"from_day": "1999-01-01"}, "is outside: the first day runs from 2000-01-01"),
        ({"lot": "NOSUCH"}, "There is no chemical lot NOSUCH here."),
        ({"lot": "LOT-NAOH"}, ", not hydrochloric acid."),
        ({"lot": "LOT-HCL", "supplier": "Somebody"}, "of one lot or of a supplier, not of both"),
        ({"reason": "x"}, "at least 5 characters"),
    ],
)
def test_a_price_that_cannot_be_is_refused_and_stays_typed(
    as_supervisor: Client, plant: SmallPlant, change: dict[str, str], message: str
) -> None:
    page = text_of(as_supervisor.post(f"{URL}prices/new/", price(**change)), 422)
    assert message in page
    assert change.get("reason", "contract of spring") in page
    assert not ChemicalPrice.objects.exists()


def test_every_price_stands_in_one_currency(as_supervisor: Client, plant: SmallPlant) -> None:
    as_supervisor.post(f"{URL}prices/new/", price())
    page = text_of(as_supervisor.post(f"{URL}prices/new/", price(currency="USD")), 422)
    assert "stand in EUR" in page and ChemicalPrice.objects.count() == 1


def test_an_operator_enters_no_price_no_level_and_signs_nothing(plant: SmallPlant, client_of) -> None:  # type: ignore[no-untyped-def]
    client = client_of(plant.people["operator"])
    for path in ("prices/new/", "watch-levels/", "reports/new/"):
        assert client.post(f"{URL}{path}", {}).status_code == 403, path
    assert "aria-disabled" in text_of(client.get(f"{URL}prices/new/"))


# --- watch levels -----------------------------------------------------------------------------------------------------
def levels(client: Client, **change: str) -> dict[str, str]:
    data = form_data(client.get(f"{URL}watch-levels/").context["form"])
    return {**data, "reason": "our own figures of a year", **change}


def test_watch_levels_of_the_plant_mark_what_they_say(as_supervisor: Client, plant: SmallPlant) -> None:
    injected(plant, "sac_h", 1.04)
    assert "every batch is inside ±5" in text_of(as_supervisor.get(f"{URL}?period=30_days"))
    answer = as_supervisor.post(
        f"{URL}watch-levels/", levels(as_supervisor, batch_percent="3", shifts="6:00, 18:00")
    )
    assert answer.status_code == 302
    row = WatchLevels.objects.get()
    assert (row.batch_frac, row.shifts) == (pytest.approx(0.03), ["06:00", "18:00"])
    page = text_of(as_supervisor.get(f"{URL}?period=30_days"))
    assert "one batch is outside ±3" in page and "The plant’s own." in page
    assert "Common practice" not in page


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"batch_percent": "0"}, "0.1"),
        ({"period_percent": "60"}, "50"),
        ({"batch_percent": "many"}, "This is no number"),
        ({"shifts": "6 am"}, "is no time of day"),
        ({"shifts": ","}, "0 shifts are given; a day has from 1 to 6"),
        ({"shifts": "1:00,2:00,3:00,4:00,5:00,6:00,7:00"}, "7 shifts are given"),
        ({"reason": "so"}, "at least 10 characters"),
    ],
)
def test_levels_that_cannot_be_are_refused(
    as_supervisor: Client, change: dict[str, str], message: str
) -> None:
    assert message in text_of(as_supervisor.post(f"{URL}watch-levels/", levels(as_supervisor, **change)), 422)
    assert not WatchLevels.objects.exists()


def test_levels_changed_by_somebody_else_meanwhile_are_shown_first(as_supervisor: Client) -> None:
    old = levels(as_supervisor, batch_percent="4")
    as_supervisor.post(f"{URL}watch-levels/", levels(as_supervisor, batch_percent="3"))
    page = text_of(as_supervisor.post(f"{URL}watch-levels/", old), 409)
    assert "were changed since this page was opened" in page and WatchLevels.objects.count() == 1


# --- the signed report ------------------------------------------------------------------------------------------------
def signing(plant: SmallPlant, client: Client, query: str, **change: str) -> dict[str, str]:
    form = client.get(f"{URL}reports/new/?{query}").context["form"]
    person = plant.people["supervisor"]
    return {
        **form_data(form),
        "username": person.get_username(),
        "password": PASSWORD,
        "remarks": "The pump was set anew.",
        **change,
    }


@pytest.mark.requirement("CS-11")
def test_a_report_is_signed_stands_as_it_was_and_prints_alike(
    as_supervisor: Client, plant: SmallPlant
) -> None:
    batch = injected(plant, "sac_h", 1.1)
    query = "period=30_days&by=vessel"
    answer = as_supervisor.post(f"{URL}reports/new/?{query}", signing(plant, as_supervisor, query))
    assert answer.status_code == 302, text_of(answer, answer.status_code)
    report = UseReport.objects.get()
    assert report.signature.content == report.content and report.signature.record_key == report.number
    shown = as_supervisor.get(f"{URL}reports/{report.number}/")
    page = text_of(shown)
    assert batch.number in page and "The pump was set anew." in page
    groups = shown.context["groups"]
    assert next(iter(groups.columns.columns)) == "group" and not any(one.orderable for one in groups.columns)
    (row,) = groups.rows
    assert "off" in row.attrs["class"].split(), "beyond the level of a period"
    pdf = as_supervisor.get(f"/papers/use-reports/{report.number}/report.pdf")
    assert pdf["Content-Type"] == "application/pdf" and pdf.content.startswith(b"%PDF")
    injected(plant, "sac_na")
    again = UseReport.objects.get()
    assert again.content == report.content and "NaCl" not in text_of(
        as_supervisor.get(f"{URL}reports/{report.number}/")
    )


def test_figures_that_changed_since_are_not_signed(as_supervisor: Client, plant: SmallPlant) -> None:
    injected(plant, "sac_h", 1.1)
    query = "period=30_days"
    old = signing(plant, as_supervisor, query)
    injected(plant, "sac_na")
    page = text_of(as_supervisor.post(f"{URL}reports/new/?{query}", old), 409)
    assert "A figure changed since this page was opened." in page and not UseReport.objects.exists()


def test_a_wrong_password_signs_nothing_and_keeps_the_remarks(
    as_supervisor: Client, plant: SmallPlant
) -> None:
    injected(plant, "sac_h")
    query = "period=30_days"
    sent = signing(plant, as_supervisor, query, password="not this one")
    page = text_of(as_supervisor.post(f"{URL}reports/new/?{query}", sent), 422)
    assert "The pump was set anew." in page and not UseReport.objects.exists()


def test_an_empty_period_is_not_signed(as_supervisor: Client) -> None:
    assert "No batch took a chemical in this period." in text_of(
        as_supervisor.get(f"{URL}reports/new/?period=last_week")
    )


def test_every_chemical_has_a_short_name() -> None:
    from regenplant.web.presenters.chemical_use import SHORT

    assert set(SHORT) == set(Chemical)
