"""The watched measures: each figure worked out by hand from a few rows, its level, and what lies beyond it; the level as an act."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from regenplant.audit.selectors import story
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, StepRun
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.process.watch_measures import (
    MEASURES,
    Beyond,
    Watched,
    checked_level,
    longest_row,
    over_median,
    rise_frac,
)
from regenplant.plant import services as plant_services
from regenplant.plant.days import plant_day
from regenplant.quality.models import RinseOutcome
from regenplant.use import services
from regenplant.use.models import MeasureLevel
from regenplant.use.selectors.watched import Found, use_beyond, watched_in
from regenplant.waste import services as waste_services
from regenplant.waste.models import StepDrain
from tests import factories
from tests.batches.test_cycle_losses import filled_with
from tests.factories import SmallPlant
from tests.quality.outcomes import outcome
from tests.use.made import injected
from tests.web.pages import form_data
from tests.web.pages import markup_of as text_of

URL = "/chemicals/use/watch/"


# --- the figures ------------------------------------------------------------------------------------------------------
def test_a_rise_is_that_of_the_straight_line_through_the_last_ten() -> None:
    """By hand: 10, 10.5 ... 14.5 lies on a straight line from 10 to 14.5, which is 45 %; noise that adds up to nothing about it stays out."""
    straight = [10 + 0.5 * place for place in range(10)]
    assert rise_frac(straight) == pytest.approx(0.45)
    assert rise_frac([99.0, *straight]) == pytest.approx(0.45), "what is older does not count"
    assert rise_frac(straight[:9]) is None and rise_frac([0.0] * 10) is None
    assert rise_frac([8.0] * 10) == pytest.approx(0.0)


def test_a_time_is_held_against_the_middle_one() -> None:
    assert over_median(30.0, [10.0, 20.0, 20.0, 25.0, 90.0]) == pytest.approx(1.5)
    assert over_median(30.0, [20.0] * 4) is None


@pytest.mark.parametrize(("failed", "longest"), [("", 0), ("0", 0), ("1", 1), ("0110111010", 3), ("11", 2)])
def test_failures_one_after_the_other(failed: str, longest: int) -> None:
    assert longest_row([letter == "1" for letter in failed]) == longest


def test_the_usual_levels_are_those_of_the_trade() -> None:
    """What supervisors watch, common practice of the trade from memory: 20 % over ten batches, 1.5 times the median, 92 and 97 % at once, two
    of a pool in a row, a cluster of three, 3 % of resin a cycle, 5 in 100 entries, and nothing overdue, tried or outside."""
    usual = {watched: measure.usual for watched, measure in MEASURES.items() if measure.is_practice}
    assert usual == {
        Watched.RINSE_RISE: 0.20,
        Watched.TIME_LONG: 1.5,
        Watched.YIELD_MIXED: 0.92,
        Watched.YIELD_SOFTENER: 0.97,
        Watched.IN_A_ROW: 2,
        Watched.TOGETHER: 3,
        Watched.RESIN_LOSS: 0.03,
        Watched.LATE: 5,
        Watched.OVERDUE: 0,
        Watched.OWN_WORK: 0,
        Watched.EXCURSIONS: 0,
    }
    assert not Beyond.ABOVE.holds(0.20, 0.20) and not Beyond.BELOW.holds(0.92, 0.92)
    assert Beyond.FROM.holds(2.0, 2.0)


@pytest.mark.parametrize(
    ("watched", "level"),
    [
        (Watched.LATE, -1.0),
        (Watched.YIELD_MIXED, 1.2),
        (Watched.TIME_LONG, float("nan")),
        (Watched.IN_A_ROW, 2.5),
    ],
)
def test_a_level_that_cannot_be_is_refused(watched: Watched, level: float) -> None:
    with pytest.raises(OutOfRange) as refused:
        checked_level(watched, level)
    assert watched.measure.name in refused.value.message


# --- from the record --------------------------------------------------------------------------------------------------
@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


def found_now(plant: SmallPlant, days: int = 60) -> dict[Watched, Found]:
    today = plant_day(plant.now)
    return {
        one.watched: one for one in watched_in(today - timedelta(days=days), today, plant.now, {"W1": False})
    }


def kept(plant: SmallPlant, rows: list[RinseOutcome]) -> list[RinseOutcome]:
    """The rows, one an hour up to now, in their order."""
    for back, row in enumerate(reversed(rows)):
        row.ended_at = plant.now - timedelta(hours=back + 1)
        row.save()
    return rows


def test_rises_and_long_rinses_of_a_lot(plant: SmallPlant) -> None:
    kept(plant, [outcome(n, 5.0 + 0.2 * n, rinse_s=1200.0, line="POOL-1") for n in range(1, 12)])
    long = outcome(40, 7.0, rinse_s=2400.0, line="POOL-1")
    long.ended_at = plant.now - timedelta(minutes=1)
    long.save()
    found = found_now(plant)
    (rise,) = found[Watched.RINSE_RISE].beyond
    assert rise.key == "POOL-1" and rise.count == 12 and rise.value > 0.2
    (time,) = found[Watched.TIME_LONG].beyond
    assert time.key == long.number and time.value == pytest.approx(2.0)
    assert len(found[Watched.TIME_LONG].figures) == 12


def test_yields_rows_and_gatherings_by_lot_vessel_and_chemical(plant: SmallPlant) -> None:
    """Ten softener batches, two of them failed one after the other and one later: 70 % at once."""
    verdicts = ["pass"] * 3 + ["fail", "fail"] + ["pass"] * 2 + ["given_up"] + ["pass"] * 2
    kept(
        plant,
        [
            outcome(n, 5.0, family="sac_na", line="SOFT", vessel="S1", verdict=verdict, chemical_lots=["L-1"])
            for n, verdict in enumerate(verdicts, start=1)
        ],
    )
    found = found_now(plant)
    (whole,) = found[Watched.YIELD_SOFTENER].beyond
    assert (whole.value, whole.count) == (pytest.approx(0.7), 10)
    assert not found[Watched.YIELD_MIXED].figures and not found[Watched.YIELD_OTHER].figures
    rows = {(one.kind, one.key): one.value for one in found[Watched.IN_A_ROW].beyond}
    assert rows == {("resin lot", "SOFT"): 2.0, ("vessel", "S1"): 2.0}
    together = {(one.kind, one.key): (one.value, one.count) for one in found[Watched.TOGETHER].beyond}
    assert together == {
        ("resin lot", "SOFT"): (3.0, 10),
        ("vessel", "S1"): (3.0, 10),
        ("chemical lot", "L-1"): (3.0, 10),
    }


def test_failed_batches_gather_by_the_customers_whose_tanks_were_in_them(plant: SmallPlant) -> None:
    batches = [factories.frozen_batch(plant, family) for family in ("sac_h", "sac_na", "sba_1")]
    rows = [outcome(n, 5.0, verdict="fail", line=f"P{n}", vessel=f"V{n}") for n in range(3)]
    for row, batch in zip(rows, batches, strict=True):
        row.number = batch.number
    kept(plant, rows)
    beyond = found_now(plant)[Watched.TOGETHER].beyond
    assert {(one.kind, one.key, one.value) for one in beyond} == {
        ("customer", plant.customer.code, 3.0),
        ("chemical lot", "LOT-hcl", 3.0),
    }


def drained(plant: SmallPlant, batch: Batch, waste_bv: float, corrected_bv: float = 0.0, **more: Any) -> None:
    """One step of the batch sent so many bed volumes down the neutralization drain, and a correction after it."""
    row = {
        "batch": batch, "step_number": 99, "destination": "neutralization", "amounts_mol": {}, "temperature_kelvin": 293.15,
        "drained_at": plant.now, "drained_by": plant.people["operator"], **more,
    }  # fmt: skip
    volume_m3 = waste_bv * batch.resin_volume_m3
    StepDrain.objects.create(**row, volume_m3=volume_m3, waste_m3=volume_m3)
    if corrected_bv:
        more_m3 = corrected_bv * batch.resin_volume_m3
        StepDrain.objects.create(
            **row, volume_m3=more_m3, waste_m3=more_m3, corrected_at=plant.now, reason="misread"
        )


def given_up_plan(plant: SmallPlant) -> Batch:
    """A batch whose vessel is free again."""
    batch = factories.frozen_batch(plant, "sac_h")
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=batch.pk, reason="only its rows are needed"
    )
    return batch


def test_the_waste_of_a_lot_rises_over_its_last_ten_batches(plant: SmallPlant) -> None:
    """By hand: 5.0, 5.2 ... 6.8 bed volumes lie on a line from 5 to 6.8, 36 % more. A correction counts, a batch given up does not."""
    rows, batches = [], [given_up_plan(plant) for _ in range(12)]
    for place, batch in enumerate(batches):
        rows.append(outcome(place, None, line="POOL-1", limit_siemens_per_m=None, is_reached=False))
        rows[-1].number = batch.number
        if place < 9:
            drained(plant, batch, 5.0 + 0.2 * place)
    drained(plant, batches[9], 7.8, corrected_bv=-1.0)
    drained(plant, batches[10], 40.0, was_given_up=True)
    rows[10].verdict = "given_up"
    rows[11].is_rework = True
    drained(plant, batches[11], 90.0)
    kept(plant, [*rows[10:], *rows[:10]])
    (rise,) = found_now(plant)[Watched.WASTE_RISE].beyond
    assert rise.key == "POOL-1" and rise.count == 10 and rise.value == pytest.approx(0.36)


def test_failures_of_one_customer_and_of_one_person_at_a_step_follow_one_another(plant: SmallPlant) -> None:
    """Three batches in three vessels of three lots; the two that failed have the person at the backwash in common."""
    rows = []
    for place, (family, verdict) in enumerate([("sac_h", "pass"), ("sac_na", "fail"), ("sba_1", "fail")]):
        batch = factories.frozen_batch(plant, family)
        rows.append(outcome(place, 5.0, line=f"P{place}", vessel=f"V{place}", verdict=verdict))
        rows[-1].number = batch.number
        who = plant.people["operator"] if verdict == "fail" else plant.people["qc"]
        batch.steps.filter(number=1).update(started_by=who, started_at=plant.now)
    kept(plant, rows)
    beyond = {(one.kind, one.value, one.count) for one in found_now(plant)[Watched.IN_A_ROW].beyond}
    assert beyond == {("customer", 2.0, 3), ("person and step", 2.0, 2)}
    (person,) = [one for one in found_now(plant)[Watched.IN_A_ROW].beyond if one.kind == "person and step"]
    first = StepRun.objects.filter(batch__number=rows[-1].number, number=1).get()
    assert person.name == f"{plant.people['operator'].full_name}: {first.name}"


def test_the_loss_of_resin_is_told_by_type_and_marked_from_three_cycles_on(plant: SmallPlant) -> None:
    """By hand: 306 L in, 294 L out, 12 of 306 L are 3.9 %."""
    batch = filled_with(plant, factories.passed_batch(plant, "sac_h"), 0.098 * 1.07)
    found = found_now(plant)[Watched.RESIN_LOSS]
    (of_type,) = [one for one in found.figures if one.kind == "resin type"]
    assert of_type.key == batch.resin_type.code and of_type.count == 1
    assert of_type.value == pytest.approx(0.012 / 0.306) and not found.beyond


def test_late_entries_overdue_instruments_and_excursions(plant: SmallPlant) -> None:
    calm = found_now(plant)
    assert not calm[Watched.EXCURSIONS].beyond and not calm[Watched.OWN_WORK].beyond
    (overdue,) = calm[Watched.OVERDUE].beyond
    assert overdue.kind == "instruments" and "OLD-CELL" in overdue.name and overdue.value == 1.0
    waste_services.report_excursion(by=plant.by(), words="foam at the outlet for a minute")
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    plant.forward(minutes=1)
    found = found_now(plant)
    assert [one.value for one in found[Watched.EXCURSIONS].beyond] == [1.0]
    (late,) = found[Watched.LATE].figures
    assert late.count > 0 and late.name == "0 late, 0 corrected" and not late.is_beyond


def test_the_use_names_each_group_beyond_the_level_of_a_period(plant: SmallPlant) -> None:
    batch = injected(plant, "sac_h", 1.10)
    injected(plant, "sac_na")
    today = plant_day(plant.now)
    found = use_beyond(today - timedelta(days=9), today)
    named = {(by.value, group.key) for by, group in found.groups}
    assert ("vessel", batch.vessel.code) in named and ("family", "sac_h") in named
    assert ("customer", plant.customer.code) in named and ("chemical_lot", "LOT-HCL") in named
    assert ("family", "sac_na") not in named and (found.outside, found.lines) == (1, 2)


# --- the level as an act ----------------------------------------------------------------------------------------------
def set_level(plant: SmallPlant, who: str = "supervisor", **change: Any) -> MeasureLevel:
    given: dict[str, Any] = {
        "measure": "together",
        "level": 4.0,
        "reason": "our own figures of a year",
        **change,
    }
    made: MeasureLevel = services.record_measure_level(by=plant.by(who), **given).result
    return made


def test_a_level_of_the_plant_marks_from_then_on_and_the_old_line_stays(plant: SmallPlant) -> None:
    kept(plant, [outcome(n, 5.0, verdict="fail", line="P", vessel="C1") for n in range(3)])
    assert found_now(plant)[Watched.TOGETHER].beyond
    row = set_level(plant)
    assert not found_now(plant)[Watched.TOGETHER].beyond
    set_level(plant, level=3.0, seen_id=row.pk)
    assert found_now(plant)[Watched.TOGETHER].own is not None and MeasureLevel.objects.count() == 2
    (line,) = story([("watch_measure", "together")], newest_first=True, limit=1)
    assert "marked from 3 on, before from 4 on" in line.sentence


def test_who_may_not_what_is_unknown_and_a_stale_page_are_refused(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        set_level(plant, "operator")
    with pytest.raises(RecordRefused, match="The measure"):
        set_level(plant, measure="weather")
    with pytest.raises(RecordRefused, match="at least 10"):
        set_level(plant, reason="so")
    with pytest.raises(OutOfRange, match="allowed is from 2 to 50"):
        set_level(plant, level=1.0)
    set_level(plant)
    with pytest.raises(StaleRecord):
        set_level(plant, seen_id=0)
    assert MeasureLevel.objects.count() == 1


# --- the pages --------------------------------------------------------------------------------------------------------
def test_the_page_tells_what_is_passed_and_leads_to_it_and_to_its_level(
    plant: SmallPlant, client_of: Any
) -> None:
    kept(plant, [outcome(n, 5.0, verdict="fail", line="POOL-9", vessel="C1") for n in range(3)])
    injected(plant, "sac_h", 1.10)
    supervisor: Client = client_of(plant.people["supervisor"])
    page = text_of(supervisor.get(f"{URL}?period=30_days"))
    assert "of 15 watch levels are passed in the last 30 days." in page
    assert 'href="/trends/lots/POOL-9/"' in page and 'href="/chemicals/use/watch/together/"' in page
    assert "+10.0" in page and "only=outside" in page
    audit = text_of(supervisor.get("/chemicals/use/?period=30_days"))
    assert "/chemicals/use/watch/?first=" in audit
    data = form_data(supervisor.get(f"{URL}rinse_rise/").context["form"])
    assert float(data["level"]) == 20.0
    answer = supervisor.post(
        f"{URL}rinse_rise/", {**data, "level": "30", "reason": "our own figures of a year"}
    )
    assert answer.status_code == 302 and MeasureLevel.objects.get().level == pytest.approx(0.30)
    stale = supervisor.post(
        f"{URL}rinse_rise/", {**data, "level": "40", "reason": "our own figures of a year"}
    )
    assert stale.status_code == 409 and MeasureLevel.objects.count() == 1
    bad = supervisor.post(f"{URL}late/", {"level": "-4", "reason": "our own figures of a year", "seen": "0"})
    assert "allowed is from 0 to 100" in text_of(bad, 422)
    assert supervisor.get(f"{URL}weather/").status_code == 404
    operator: Client = client_of(plant.people["operator"])
    assert operator.post(f"{URL}late/", {"level": "4"}).status_code == 403


def test_an_empty_plant_passes_nothing_but_what_is_overdue(plant: SmallPlant, client_of: Any) -> None:
    plant_services.record_eyewash_test(by=plant.by("supervisor"), tested_on=plant_day(plant.now))
    page = text_of(client_of(plant.people["supervisor"]).get(URL))
    assert "1 of 15 watch levels is passed this week." in page and "OLD-CELL" in page
    assert not RinseOutcome.objects.exists() and "Nothing lies beyond" not in page
