"""A worked month: everything the supervisor's audit says of it, recounted from raw rows by a script that knows nothing of the program."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import date
from functools import cache
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from openpyxl import load_workbook

from regenplant.audit import chain
from regenplant.batches.models import Batch
from regenplant.chemicals.counts import day_balances, open_differences
from regenplant.chemicals.models import Place
from regenplant.chemicals.selectors import deliveries_to_see_to
from regenplant.plant.models import Vessel
from regenplant.use.models import UseReport, UseRow
from regenplant.use.selectors import By, Question, audit, batch_use, lines
from regenplant.use.selectors.reports import content_of_report
from regenplant.waste.month import content_of, report_with
from tests.worked_month import cells, recount
from tests.worked_month.month import (
    ANALYSIS_KG_PER_M3,
    BATCHES_A_DAY,
    DENSITY_32,
    DENSITY_36,
    DISCHARGED_M3,
    FAMILIES,
    LEAK_GRAMS,
    STRONG,
    TANK_DIAMETER_M,
    WORKING_DAYS,
    Month,
    played_month,
)
from tests.worked_month.raw import Rows, raw_rows

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)
STEP = 1e-5
"""The audit keeps a batch's variance in hundred-thousandths."""


@pytest.fixture(scope="module")
def month(django_db_setup: None, django_db_blocker: Any) -> Iterator[Month]:
    """Played once for all tests of this file, and rolled back at its end."""
    with django_db_blocker.unblock(), transaction.atomic():
        try:
            yield played_month()
        finally:
            transaction.set_rollback(True)


@pytest.fixture(scope="module")
def rows(month: Month) -> Rows:
    return raw_rows()


@pytest.fixture(scope="module")
def found(rows: Rows) -> list[recount.BatchFigures]:
    return recount.batches(rows)


# --- what happened ----------------------------------------------------------------------------------------------------
def test_the_month_is_a_whole_one(month: Month, rows: Rows) -> None:
    assert len(rows["batches"]) == WORKING_DAYS * BATCHES_A_DAY == 60
    assert {row["resin_type__family"] for row in rows["batches"]} == set(FAMILIES)
    days = {row["started_at"].date() for row in rows["batches"]}
    assert len(days) >= WORKING_DAYS and all(FIRST <= day <= LAST for day in days)
    assert len([row for row in rows["counts"] if row["place__code"] == "B-HCL"]) == 4
    assert Vessel.objects.count() > 60 and list(chain.verify()) == []


@pytest.mark.requirement("CS-01")
def test_the_wrong_connection_brought_nothing_and_stays_as_a_near_miss(month: Month, rows: Rows) -> None:
    (stopped,) = [row for row in rows["unloadings"] if row["state"] == "stopped"]
    assert stopped["number"] == month.diary.stopped and stopped["lot_code"] == "A-202"
    assert "FILL-NAOCL is the fill connection of B-NAOCL" in stopped["alarm"]
    assert "A-202" not in {row["code"] for row in rows["lots"]}
    assert "A-202" not in {row["lot__code"] for row in rows["movements"]}
    assert any("was stopped" in words for words in month.diary.refusals)
    assert stopped["answer"] and not deliveries_to_see_to().exists()


# --- the ledger -------------------------------------------------------------------------------------------------------
def test_nothing_is_made_or_lost(rows: Rows) -> None:
    held = recount.balances(rows)
    for chemical in ("hcl", "naoh", "nacl"):
        assert sum(grams for (value, _), grams in held.items() if value == chemical) == 0


def test_each_tank_holds_what_came_less_what_went(month: Month, rows: Rows) -> None:
    """Opening stock and deliveries in; batches, the leak and what treated the waste out; what was taken back in again."""
    held, used = recount.balances(rows), recount.into_batches(rows)
    came = {
        "hcl": 3_000_000 + 2_000_000 + 1_500_000 + 1_700_000,
        "naoh": 3_000_000 + 1_800_000,
        "nacl": 3_000_000,
    }
    for chemical, tank in (("hcl", "B-HCL"), ("naoh", "B-NAOH"), ("nacl", "B-NACL")):
        went = sum(grams for (_, value), grams in used.items() if value == chemical)
        leaked = _unexplained(rows) if chemical == "hcl" else 0
        treated = _treated(rows, chemical)
        assert (treated > 0) == (chemical == month.diary.treated)
        assert held[chemical, tank] == came[chemical] - went - leaked - treated
    for move in rows["movements"]:
        upto = recount.balances(rows, move["number"])
        assert all(grams >= 0 for (_, place), grams in upto.items() if place.startswith("B-")), move


def _treated(rows: Rows, chemical: str) -> int:
    gone = recount.of_kinds(rows, "bulk_tank", "treatment")
    return sum(move["grams_100"] for move in gone if move["chemical"] == chemical)


def _unexplained(rows: Rows) -> int:
    return sum(move["grams_100"] for move in recount.of_kinds(rows, "bulk_tank", "unexplained"))


def test_what_a_batch_took_is_volume_by_density_by_strength(month: Month, rows: Rows) -> None:
    """Of every batch between a check of the strength and the next delivery: litres as typed, times what the laboratory found."""
    arrivals = {
        (move["chemical"], move["moved_at"]) for move in recount.of_kinds(rows, "supplier", "bulk_tank")
    }
    proven = 0
    for move in recount.of_kinds(rows, "bulk_tank", "batch"):
        batch = next(row for row in rows["batches"] if row["number"] == move["reference"])
        check = recount.checked_before(rows, move["chemical"], batch["planned_at"])
        if any(
            value == move["chemical"] and at > check["checked_at"]
            for value, at in arrivals
            if at <= batch["planned_at"]
        ):
            continue
        litres = recount.drawn_litres(rows, move["reference"])
        grams = litres * check["density_kg_per_m3"] * check["strength_frac"]
        # half a gram of rounding, and the density of a table against the hydrometer: 0.1 %
        net = recount.into_batches(rows)[move["reference"], move["chemical"]]
        booked = net if move["reference"] == month.diary.entry_corrected else move["grams_100"]
        assert booked == pytest.approx(grams, rel=1e-3, abs=0.5), move["reference"]
        proven += 1
    assert proven >= 40


def test_the_correction_is_in_the_books_and_off_the_batch(month: Month, rows: Rows) -> None:
    (back,) = [move for move in rows["movements"] if move["corrects__number"] is not None]
    wrong = next(move for move in rows["movements"] if move["number"] == month.diary.corrected)
    assert back["corrects__number"] == wrong["number"] and back["grams_100"] == wrong["grams_100"]
    assert recount.into_batches(rows)[wrong["reference"], "hcl"] == 0
    assert UseRow.objects.get(number=wrong["reference"]).used_grams == 0


# --- counts and the leak ----------------------------------------------------------------------------------------------
def test_a_count_is_area_by_level_by_density_by_strength(rows: Rows) -> None:
    for count in rows["counts"]:
        check = recount.checked_before(rows, "hcl", count["counted_at"])
        grams = recount.upright_grams(
            float(count["value_as_typed"]),
            TANK_DIAMETER_M,
            check["strength_frac"],
            check["density_kg_per_m3"],
        )
        assert count["found_grams_100"] == pytest.approx(grams, rel=1e-3)
        assert count["books_grams_100"] == recount.balances(rows, count["after_movement"])["hcl", "B-HCL"]


def test_the_leak_is_found_by_the_third_count_and_booked_by_another_person(month: Month, rows: Rows) -> None:
    gaps = [row["found_grams_100"] - row["books_grams_100"] for row in rows["counts"]]
    spread = [row["spread_grams_100"] for row in rows["counts"]]
    assert [abs(gap) > wide for gap, wide in zip(gaps, spread, strict=True)] == [False, False, True, False]
    (moved,) = recount.of_kinds(rows, "bulk_tank", "unexplained")
    assert moved["reference"] == month.diary.leak_count == rows["counts"][2]["number"]
    assert moved["grams_100"] == -gaps[2] == pytest.approx(LEAK_GRAMS, abs=spread[2])
    assert any("You counted" in words for words in month.diary.refusals)
    assert open_differences() == []


def test_the_balance_between_two_counts_is_that_of_the_raw_movements(rows: Rows) -> None:
    """Opening + receipts − use = closing, but for what the count found: each figure from the movements between the two counts."""
    found = day_balances(Place.objects.get(code="B-HCL"), FIRST, LAST)
    counts = rows["counts"]
    assert [one.closing.number for one in found] == [row["number"] for row in counts]
    before = 0
    for one, count in zip(found, counts, strict=True):
        between = [move for move in rows["movements"] if before < move["number"] <= count["after_movement"]]
        net = recount.into_batches({**rows, "movements": between})
        came = sum(
            m["grams_100"] for m in between if m["from_place__kind"] == "supplier" and m["chemical"] == "hcl"
        )
        went = sum(grams for (_, chemical), grams in net.items() if chemical == "hcl")
        went += _treated({**rows, "movements": between}, "hcl")
        assert one.balance.received_kg == pytest.approx(came / 1000.0, abs=1e-9)
        assert one.balance.used_kg == pytest.approx(went / 1000.0, abs=1e-9)
        assert one.balance.closing_kg == pytest.approx(count["found_grams_100"] / 1000.0, abs=1e-9)
        before = count["after_movement"]


# --- the strong delivery ----------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-05")
def test_a_stronger_delivery_changes_the_next_dose_exactly_and_no_open_one(month: Month, rows: Rows) -> None:
    """Both batches get the same mass as 100 %; in litres the waiting one keeps its old plan, the next follows the mass balance."""
    plans = {row["number"]: row["plan"] for row in rows["batches"]}

    def stock(number: str) -> tuple[float, float]:
        (step,) = [one for one in plans[number]["steps"] if one["chemical"]]
        figures = step["figures"]
        return _value(figures, "stock_m3"), _value(figures, "chemical_kg_100")

    old_m3, old_kg = stock(month.diary.before_strong)
    new_m3, new_kg = stock(month.diary.after_strong)
    assert new_kg == pytest.approx(old_kg, rel=1e-12)
    (arrived,) = [
        move
        for move in rows["movements"]
        if move["lot__code"] == "A-204" and move["from_place__kind"] == "supplier"
    ]
    rest = recount.balances(rows, arrived["number"] - 1)["hcl", "B-HCL"]
    check = recount.checked_before(rows, "hcl", arrived["moved_at"])
    sample = next(row["sample_strength_frac"] for row in rows["unloadings"] if row["lot_code"] == "A-204")
    blend = recount.poured_together((rest, check["strength_frac"]), (arrived["grams_100"], sample))
    assert check["strength_frac"] < blend < sample == pytest.approx(STRONG, abs=0.003)
    read_32, read_36 = (0.32, DENSITY_32), (0.36, DENSITY_36)
    assert old_m3 == pytest.approx(old_kg / check["strength_frac"] / check["density_kg_per_m3"], rel=1e-3)
    assert new_m3 == pytest.approx(new_kg / blend / recount.between(blend, read_32, read_36), rel=1e-3)


def _value(figures: Any, key: str) -> float:
    found = figures[key]
    return float(found["value"] if isinstance(found, dict) else found)


# --- the audit --------------------------------------------------------------------------------------------------------
@cache
def _asked(by: By) -> Any:
    return audit(Question(FIRST, LAST, by))


@pytest.fixture(scope="module", autouse=True)
def _forget() -> Iterator[None]:
    yield
    _asked.cache_clear()


@pytest.mark.parametrize(
    "by", [By.FAMILY, By.VESSEL, By.SHIFT, By.TIME, By.CUSTOMER, By.RESIN_LOT, By.CHEMICAL_LOT]
)
def test_every_group_of_the_audit_is_the_recount(
    month: Month, found: list[recount.BatchFigures], by: By
) -> None:
    expected = recount.grouped(found, by.value)
    groups = {(group.key, group.chemical.value): group.sums for group in _asked(by).groups}
    assert set(groups) == set(expected) and len(groups) >= 3 - (by is By.SHIFT)
    for key, want in expected.items():
        have = groups[key]
        # shares are apportioned to whole grams: at most one gram for each batch in the group
        slack = want.batches if by.is_shared else 0.5 * want.batches
        assert have.batches == want.batches, key
        assert have.volume_ml == pytest.approx(want.volume_ml, abs=slack), key
        assert have.used_grams == pytest.approx(want.used_grams, abs=slack if by.is_shared else 0.0), key
        assert have.planned_grams == pytest.approx(want.planned_grams, abs=slack), key
        assert have.cost_milli == pytest.approx(want.cost_milli, abs=slack), key
        # molar masses to five digits here and there: 0.02 %
        assert have.theory_grams == pytest.approx(want.theory_grams, rel=2e-4, abs=slack), key
        assert have.mean_variance_frac == pytest.approx(want.mean_variance, abs=STEP), key
        if want.spread is None:
            assert have.spread_frac is None
        else:
            assert have.spread_frac == pytest.approx(want.spread, abs=2 * STEP), key
        if want.used_grams and not by.is_shared:
            assert have.ratio == pytest.approx(want.ratio, rel=5e-4), key
            assert have.efficiency_frac == pytest.approx(1.0 / want.ratio, rel=5e-4), key
            assert have.variance_frac == pytest.approx(want.variance, abs=STEP), key


def test_shares_add_up_to_the_whole_whatever_divides_them(month: Month) -> None:
    wholes = {total.chemical: total.sums for total in _asked(By.FAMILY).totals}
    for by in By:
        parts: dict[Any, int] = {}
        for group in _asked(by).groups:
            parts[group.chemical] = parts.get(group.chemical, 0) + group.sums.used_grams
        assert parts == {chemical: sums.used_grams for chemical, sums in wholes.items()}, by


def test_the_whole_use_is_what_left_the_tanks_for_batches(rows: Rows) -> None:
    net: dict[str, int] = {}
    for (_, chemical), grams in recount.into_batches(rows).items():
        net[chemical] = net.get(chemical, 0) + grams
    assert {total.chemical.value: total.sums.used_grams for total in _asked(By.FAMILY).totals} == net


def test_the_batches_beyond_the_watch_level_are_those_that_were_drawn_so(
    month: Month, found: list[recount.BatchFigures]
) -> None:
    watch = _asked(By.FAMILY).watch
    marked = {row.number for row in lines(Question(FIRST, LAST), only_outside=True)}
    assert marked == {one.number for one in found if abs(one.variance) > watch.batch_frac}
    over = {number for number, factor in month.diary.factors.items() if abs(factor - 1.0) > 0.05}
    corrected = {one.number for one in found if one.used_grams == 0}
    assert len(over) >= 6 and marked == over | corrected and len(corrected) == 1


def test_costs_are_recounted_from_prices_and_certificates(
    month: Month, found: list[recount.BatchFigures], rows: Rows
) -> None:
    assert {row.number: row.cost_milli for row in UseRow.objects.all()} == {
        one.number: one.cost_milli for one in found
    }
    priced = {one.chemical for one in found if one.cost_milli}
    assert priced == {"hcl", "naoh"}, "salt has no price"
    (own,) = [row["lot__code"] for row in rows["prices"] if row["lot__code"]]
    acid = [one for one in found if one.by_lot == {own: 1}]
    assert acid and all(one.cost_milli == round(0.905 * one.used_grams) for one in acid), (
        "its own price comes first"
    )


def test_a_customer_in_a_resin_lot_is_recounted_from_the_tanks(found: list[recount.BatchFigures]) -> None:
    want: dict[tuple[str, str, str], float] = {}
    for one in found:
        for (customer, lot), share in one.by_customer_and_resin_lot.items():
            key = customer, lot, one.chemical
            want[key] = want.get(key, 0.0) + float(share) * one.used_grams
    for lot in {key[1] for key in want}:
        groups = audit(Question(FIRST, LAST, By.CUSTOMER, resin_lot=lot)).groups
        have = {(group.key, lot, group.chemical.value): group.sums.used_grams for group in groups}
        assert have == {
            key: pytest.approx(grams, abs=len(found)) for key, grams in want.items() if key[1] == lot
        }
    assert len(want) >= 6


def test_a_corrected_entry_moved_the_difference(month: Month, rows: Rows) -> None:
    number = month.diary.entry_corrected
    out, back = [move for move in rows["movements"] if move["reference"] == number]
    assert (back["from_place__kind"], back["to_place__code"], back["corrects__number"]) == (
        "batch",
        "B-NAOH",
        None,
    )
    (planned,) = [one.planned_grams for one in recount.batches(rows) if one.number == number]
    assert out["grams_100"] - back["grams_100"] == pytest.approx(0.9 * planned, abs=1.0)


@pytest.mark.parametrize("by", list(By))
def test_every_cell_of_the_workbook_is_the_recount(
    month: Month, found: list[recount.BatchFigures], rows: Rows, client_of: Any, by: By
) -> None:
    """Totals, groups, batches and movements; the batches once more as CSV."""
    supervisor = client_of(month.plant.people["supervisor"])
    asked = f"/chemicals/use/?first={FIRST}&last={LAST}&by={by.value}"
    book = load_workbook(io.BytesIO(supervisor.get(f"{asked}&_export=xlsx").content))
    assert book.sheetnames == ["Totals", f"By {by.label}", "Batches", "Movements", "About"]
    lines = {line["Batch"]: line for line in cells.sheet_of(book, "Batches")}
    assert len(lines) == len(found) == 60
    for one in found:
        cells.compare(lines[one.number], cells.batch_cells(one), one.number)

    totals = {line["Chemical"]: line for line in cells.sheet_of(book, "Totals")}
    whole = {chemical: recount.Group() for chemical in cells.FORMULA}
    for one in found:
        whole[one.chemical].add(one)
    assert set(totals) == set(cells.FORMULA.values())
    for chemical, group in whole.items():
        cells.compare(totals[cells.FORMULA[chemical]], cells.group_cells(chemical, group, 0.0), chemical)

    groups = {(line["Code"], line["Chemical"]): line for line in cells.sheet_of(book, f"By {by.label}")}
    expected = recount.grouped(found, by.value)
    assert set(groups) == {(key, cells.FORMULA[chemical]) for key, chemical in expected}
    for (key, chemical), group in expected.items():
        line = groups[key, cells.FORMULA[chemical]]
        want = cells.group_cells(chemical, group, float(group.batches) if by.is_shared else 0.0)
        assert line[by.label.capitalize()], "a group has a name"
        cells.compare(line, {**want, "Code": key, by.label.capitalize(): line[by.label.capitalize()]}, key)

    moved = cells.sheet_of(book, "Movements")
    behind = {row["number"]: row for row in cells.movements_behind(rows)}
    assert {line["Movement"] for line in moved} == set(behind) and len(moved) == len(behind)
    for line in moved:
        cells.compare(line, cells.movement_cells(behind[line["Movement"]]), f"movement {line['Movement']}")
    said = {line["What"]: line["Says"] for line in cells.sheet_of(book, "About")}
    assert (said["First day"], said["Last day, counted in"]) == (str(FIRST), str(LAST))
    assert (said["Groups by"], said["Narrowed to"]) == (by.label, "nothing")

    text = supervisor.get(f"{asked}&_export=csv").content.decode("utf-8-sig")
    listed = {line["Batch"]: line for line in csv.DictReader(io.StringIO(text))}
    assert set(listed) == set(lines)
    for number, line in lines.items():
        numbers = {head: float(cell) for head, cell in line.items() if isinstance(cell, int | float)}
        assert {head: float(listed[number][head]) for head in numbers} == numbers, number
        rest = {head: cell or "" for head, cell in line.items() if head not in numbers}
        assert {head: listed[number][head] for head in rest} == rest, number


@pytest.mark.requirement("CS-11")
def test_the_signed_report_says_what_the_recount_says(
    month: Month, found: list[recount.BatchFigures]
) -> None:
    content = content_of_report(UseReport.objects.get(number=month.diary.report))
    assert date.fromisoformat(content.first) == FIRST and date.fromisoformat(content.last) <= LAST
    assert {total.chemical for total in content.totals} == set(cells.FORMULA)
    for total in content.totals:
        whole = recount.Group()
        for one in found:
            if one.chemical == total.chemical:
                whole.add(one)
        cells.same_sums(total.sums, whole, slack=0.0, is_exact=True, about=total.chemical)
    want = recount.grouped(found, "customer")
    assert {(one.key, one.chemical) for one in content.groups} == set(want) and not content.groups_left_out
    for one in content.groups:
        group = want[one.key, one.chemical]
        cells.same_sums(one.sums, group, slack=float(group.batches), is_exact=False, about=one.key)
    by_number = {one.number: one for one in found}
    beyond = {one.number for one in found if abs(one.variance) > content.batch_frac}
    assert {line.number for line in content.outside} == beyond and content.outside_in_all == len(beyond)
    for line in content.outside:
        own, alone = by_number[line.number], recount.Group()
        alone.add(own)
        assert (line.day, line.family, line.vessel, line.chemical) == (
            str(own.day),
            own.family,
            own.vessel,
            own.chemical,
        )
        cells.same_sums(line.sums, alone, slack=0.0, is_exact=True, about=line.number)


def test_each_batch_down_to_its_step_and_its_shares_is_the_recount(
    month: Month, found: list[recount.BatchFigures], rows: Rows
) -> None:
    """The page of one batch: its step, its movements, and the parts of customers and lots."""
    moved = cells.movements_behind(rows)
    for one in found:
        use = batch_use(Batch.objects.get(number=one.number))
        (step,) = use.steps
        assert step.chemical.value == one.chemical and use.is_told_alike
        assert step.net_grams == step.use.used_grams == one.used_grams
        assert step.use.planned_grams == pytest.approx(one.planned_grams, abs=0.5)
        assert step.use.theory_grams == pytest.approx(one.theory_grams, rel=cells.MOLAR, abs=0.5)
        assert [move.number for move in step.movements] == [
            move["number"] for move in moved if move["reference"] == one.number
        ]
        for shares, parts in (
            (use.customers, one.by_customer),
            (use.resin_lots, one.by_resin_lot),
            (use.chemical_lots, one.by_lot),
        ):
            assert {share.key for share in shares} == set(parts), one.number
            assert sum(share.used_grams for share in shares) == one.used_grams
            for share in shares:
                part = float(parts[share.key])
                assert share.used_grams == pytest.approx(part * one.used_grams, abs=1.0)
                assert share.volume_ml == pytest.approx(part * one.volume_ml, abs=1.0)
                assert share.cost_milli == pytest.approx(part * one.cost_milli, abs=1.0)


# --- the waste --------------------------------------------------------------------------------------------------------
def test_the_waste_tank_holds_what_came_less_what_went(rows: Rows) -> None:
    """Level and every ion after each movement are those before it and what came or left: read off the rows alone."""
    level, held = 0.0, {}
    assert {row["kind"] for row in rows["waste"]} >= {"drain", "reading"}
    for row in rows["waste"]:
        if row["kind"] == "reading":
            level, held = row["level_m3"], row["held_mol"]
            continue
        level += row["volume_m3"]
        held = {
            ion: held.get(ion, 0.0) + row["amounts_mol"].get(ion, 0.0) for ion in {*held, *row["amounts_mol"]}
        }
        assert row["level_m3"] == pytest.approx(level, abs=1e-9), row["number"]
        assert row["held_mol"] == pytest.approx(
            {ion: held[ion] for ion in row["held_mol"]}, rel=1e-9, abs=1e-9
        )


@pytest.mark.requirement("EV-04")
def test_what_was_given_to_the_waste_is_volume_by_density_by_strength(month: Month, rows: Rows) -> None:
    """The mass that left the stock, and the ions it brought into the tank, from the litres alone."""
    (given,) = [row for row in rows["waste"] if row["kind"] == "treatment"]
    (moved,) = [move for move in rows["movements"] if move["to_place__kind"] == "treatment"]
    chemical = month.diary.treated
    assert given["number"] == month.diary.treatment and given["movement__number"] == moved["number"]
    assert (moved["chemical"], given["volume_m3"]) == (chemical, pytest.approx(month.diary.treated_m3))
    check = recount.checked_before(rows, chemical, moved["moved_at"])
    grams = given["volume_m3"] * 1e6 * check["density_kg_per_m3"] / 1000 * check["strength_frac"]
    assert moved["grams_100"] == pytest.approx(grams, rel=1e-3, abs=0.5)
    ion = {"hcl": "chloride", "naoh": "sodium"}[chemical]
    assert given["amounts_mol"][ion] == pytest.approx(
        moved["grams_100"] / recount.G_PER_EQ[chemical], rel=2e-4
    )


@pytest.mark.requirement("EV-04")
def test_what_went_to_the_sewer_is_concentration_by_volume(rows: Rows) -> None:
    """The first by the analysis that stands with its release, the second by what the rows say stood in the tank."""
    out = {row["reference"]: row for row in rows["waste"] if row["kind"] == "discharge"}
    measured, worked_out = rows["discharges"]
    assert (measured["volume_m3"], worked_out["volume_m3"]) == DISCHARGED_M3
    for ion, concentration in ANALYSIS_KG_PER_M3.items():
        assert measured[f"{ion}_kg"] == pytest.approx(concentration * DISCHARGED_M3[0]), ion
    own = out[worked_out["number"]]
    before = max(
        (row for row in rows["waste"] if row["number"] < own["number"]), key=lambda row: row["number"]
    )
    share = DISCHARGED_M3[1] / before["level_m3"]
    gone = recount.masses_kg({ion: share * moles for ion, moles in before["held_mol"].items()})
    assert gone["chloride"] > 0 and gone["sodium"] > 0
    for ion, kilograms in gone.items():
        assert worked_out[f"{ion}_kg"] == pytest.approx(kilograms, rel=2e-4), ion
    for row in rows["discharges"]:
        assert out[row["number"]]["volume_m3"] == pytest.approx(-row["volume_m3"])


@pytest.mark.requirement("EV-04")
def test_the_monthly_report_of_discharges_is_the_recount(month: Month, rows: Rows) -> None:
    """Every day on which something went, brine straight to the sewer counted in."""
    report = report_with(month.diary.waste_report)
    assert report is not None
    content, want = content_of(report), recount.gone_by_day(rows)
    until = max(row["ended_at"] for row in rows["discharges"]).date().isoformat()
    want = {day: sums for day, sums in want.items() if day <= until}
    assert {line.day for line in content.days} == set(want)
    for line in content.days:
        assert line.volume_m3 == pytest.approx(want[line.day]["volume"], abs=1e-9), line.day
        for ion in ANALYSIS_KG_PER_M3:
            assert line.loads.of(ion) == pytest.approx(want[line.day][ion], rel=2e-4), (line.day, ion)
    assert [line.number for line in content.discharges] == [row["number"] for row in rows["discharges"]]
    for line, row in zip(content.discharges, rows["discharges"], strict=True):
        assert line.volume_m3 == row["volume_m3"] and (line.ph_lowest, line.ph_highest) == (7.1, 7.2)
        assert all(line.loads.of(ion) == row[f"{ion}_kg"] for ion in ANALYSIS_KG_PER_M3)


def test_after_its_rinse_all_that_was_fed_to_a_batch_has_drained(
    month: Month, rows: Rows, found: list[recount.BatchFigures]
) -> None:
    """Mass balance, mole for mole: what the resin keeps nothing of has left. Nothing is lost and nothing made."""
    by_number = {one.number: one for one in found}
    assert set(month.diary.rinsed) == set(FAMILIES)
    for number in month.diary.rinsed.values():
        chemical = by_number[number].chemical
        share = recount.drained_mol(rows, number, chemical) / recount.fed_mol(rows, number, chemical)
        assert share == pytest.approx(1.0, abs=2e-3), (number, share)


def test_each_batch_has_drained_its_part_of_what_was_fed(
    month: Month, rows: Rows, found: list[recount.BatchFigures]
) -> None:
    """The others are run to the end of the displacement: by then it is what of the stream's volume has run, the volumes read off the rinsed
    batch of the family. What was drawn beyond the plan leaves with the injection, as it came; less drawn is less of all."""
    seen = 0
    for one in found:
        if one.number in month.diary.rinsed.values():
            continue
        whole = recount.drained_m3(rows, month.diary.rinsed[one.family])
        of_inject, of_displace = (whole[kind] / sum(whole.values()) for kind in ("inject", "displace"))
        factor = month.diary.factors[one.number]
        planned = recount.fed_mol(rows, one.number, one.chemical) / factor
        expected = planned * ((of_inject + of_displace) * min(factor, 1.0) + max(factor - 1.0, 0.0))
        drained = recount.drained_mol(rows, one.number, one.chemical)
        assert drained == pytest.approx(expected, rel=5e-3), (one.number, drained, expected)
        seen += 1
    assert seen >= 50 and month.diary.entry_corrected not in month.diary.rinsed.values()


def test_the_tank_got_what_the_steps_drained_there(rows: Rows) -> None:
    """By batch, volume and ions: rows of drains and of corrections in the ledger of the tank; nothing of a batch is there twice or not at all."""
    for number in {row["batch__number"] for row in rows["drains"]}:
        drains = [
            row
            for row in rows["drains"]
            if row["batch__number"] == number and row["destination"] == "neutralization"
        ]
        came = [row for row in rows["waste"] if row["kind"] == "drain" and row["batch__number"] == number]
        first = {row["step_number"]: row for row in reversed(drains)}  # before any correction
        for ion in ("chloride", "sodium"):
            have = sum(row["amounts_mol"].get(ion, 0.0) for row in came)
            want = sum(row["amounts_mol"].get(ion, 0.0) for row in first.values())
            assert have == pytest.approx(want, abs=1e-6), (number, ion)
        assert sum(row["volume_m3"] for row in came) == pytest.approx(
            sum(row["waste_m3"] for row in first.values()), abs=1e-6
        )


def test_the_corrected_entry_put_the_books_of_the_waste_right(month: Month, rows: Rows) -> None:
    """A tenth less was drawn than was written: the drains of its injection and of its displacement say so, and the tank has as much less
    of it as still stands there."""
    number = month.diary.entry_corrected
    right = [row for row in rows["waste"] if row["kind"] == "correction"]
    assert len(right) == 2 and {row["batch__number"] for row in right} == {number}
    drains = [
        row["amounts_mol"].get("sodium", 0.0) for row in rows["drains"] if row["batch__number"] == number
    ]
    less = sum(moles for moles in drains if moles < 0.0)
    came = max(
        row["number"] for row in rows["waste"] if row["kind"] == "drain" and row["batch__number"] == number
    )
    there = recount.still_there(rows, came, right[0]["number"])
    assert less < 0.0 < there < 1.0, "a level was read below the books meanwhile"
    assert sum(row["amounts_mol"]["sodium"] for row in right) == pytest.approx(there * less, rel=1e-6)


def test_everything_written_in_the_month_holds(month: Month) -> None:
    call_command("verify_records", verbosity=0)
