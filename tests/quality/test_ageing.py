"""Ageing of lots: samples and looks as they are written and refused, what is believed of the capacity, and the factor a person sets."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.batches.frozen import plan_of
from regenplant.core.errors import (
    DomainError,
    NotAllowed,
    OutOfRange,
    RecordRefused,
    SignatureRefused,
    StaleRecord,
)
from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.resin_advice import Step
from regenplant.core.process.resin_ageing import Curve, Part, left, prior
from regenplant.core.process.resin_fouling import Answer
from regenplant.people.signing import holds
from regenplant.quality import services
from regenplant.quality.ageing import LotAgeing, ageing_of, ageing_of_many, lots_in_use, worst_first
from regenplant.quality.ageing_lines import YEAR, lines_of
from regenplant.quality.models import LotLook, ResinFigure, ResinSample
from regenplant.quality.services import FigureAsTyped, SampleAsTyped
from regenplant.quality.services._lots import lot_from
from regenplant.resins import services as resin_services
from regenplant.resins.capacities import factors_of
from regenplant.resins.models import LotCapacity, ResinLot
from regenplant.tanks.models import Tank, TankVisit
from tests import factories
from tests.factories import SmallPlant
from tests.quality import outcomes

pytestmark = pytest.mark.django_db
REASON = "Two tests in a row say so."


def at(plant: SmallPlant, who: str, years_ago: float = 0.0) -> By:
    return plant.by(who, at=plant.now - years_ago * YEAR)


def delivered(plant: SmallPlant, family: str, code: str, years_ago: float, **more: Any) -> ResinLot:
    """A lot that came new, so long ago."""
    values = {
        "segregation_class": "D",
        "volume_m3": 1.0,
        "volume_form": factories.exhausted_form(family),
        "origin": "delivered new",
        "delivered_on": (plant.now - years_ago * YEAR).date(),
        **more,
    }
    return resin_services.receive_new_lot(
        by=at(plant, "supervisor", years_ago), code=code, resin_type_id=plant.types[family].pk, **values
    ).result


def set_capacity(
    plant: SmallPlant, lot: ResinLot, factor_text: str, *, reason: str, who: str = "supervisor", seen: int = 0
) -> Outcome:
    return services.set_lot_capacity(
        by=plant.by(who), lot_id=lot.pk, factor_text=factor_text, reason=reason, seen_number=seen,
        permit=factories.permit(plant, who, services.CAPACITY_MEANING),
    )  # fmt: skip


def mixed(
    plant: SmallPlant,
    family: str,
    code: str,
    parents: Sequence[tuple[ResinLot, float]],
    years_ago: float = 0.0,
) -> ResinLot:
    return resin_services.mix_lot(
        by=at(plant, "operator", years_ago), code=code, resin_type_id=plant.types[family].pk, segregation_class="D", volume_m3=1.0,
        volume_form=factories.exhausted_form(family), origin="mixed in a test", parents=[(lot.pk, share) for lot, share in parents],
        cycles=1, capacity_factor=1.0,
    ).result  # fmt: skip


def sample(plant: SmallPlant, **more: Any) -> SampleAsTyped:
    given = SampleAsTyped(
        taken_at=plant.now - timedelta(days=20), taken_by="Operator 1", taken_how="core over the full depth",
        laboratory="Moorhen Bench Laboratory", report="MB 77",
    )  # fmt: skip
    return replace(given, **more)


SPLITTING = FigureAsTyped("salt_splitting", "0.9 eq/L", "titration after salt splitting", "1.2 eq/L")
TOTAL = FigureAsTyped("total_capacity", "1.71 eq/L", "titration")


def record(
    plant: SmallPlant, lot: ResinLot, *figures: FigureAsTyped, who: str = "qc", **more: Any
) -> ResinSample:
    return services.record_resin_sample(
        by=plant.by(who), lot_id=lot.pk, sample=sample(plant, **more), figures=figures
    ).result


def aged(plant: SmallPlant, lot: ResinLot) -> LotAgeing:
    found = ageing_of(ResinLot.objects.get(pk=lot.pk), plant.now)
    assert found is not None
    return found


@pytest.fixture
def anion(plant: SmallPlant) -> ResinLot:
    return delivered(plant, "sba_1", "N-1", 2.0)


@pytest.fixture
def cation(plant: SmallPlant) -> ResinLot:
    return delivered(plant, "sac_h", "K-1", 3.0)


# --- samples ---------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-07")
def test_a_sample_is_kept_as_typed_and_told(plant: SmallPlant, anion: ResinLot) -> None:
    row = record(plant, anion, SPLITTING, FigureAsTyped("moisture", "52 %", "drying", "48 %"))
    assert row.number == "LT-1001"
    first = row.figures.get(property="salt_splitting")
    assert (first.value, first.new_value) == (pytest.approx(900.0), pytest.approx(1200.0))
    assert (first.value_as_typed, first.unit_as_typed, first.new_as_typed) == ("0.9", "eq/L", "1.2 eq/L")
    told = story([("resin_lot", str(anion.pk))], newest_first=True)[0].sentence
    assert "sample LT-1001 of Moorhen Bench Laboratory was written down" in told


def test_total_capacity_is_held_against_the_data_sheet_where_nothing_else_is_said(
    plant: SmallPlant, cation: ResinLot
) -> None:
    row = record(plant, cation, TOTAL)
    assert row.figures.get().new_value == plant.types["sac_h"].total_capacity_eq_per_m3 == 1900.0


@pytest.mark.parametrize(
    ("change", "figures", "field", "says"),
    [
        ({"taken_how": ""}, [SPLITTING], "taken_how", "is empty"),
        ({"laboratory": "x"}, [SPLITTING], "laboratory", "at least 2"),
        ({"resin": "anion"}, [SPLITTING], "resin", "holds one resin"),
        ({"resin": "top"}, [SPLITTING], "resin", "not known"),
        ({}, [], "figures", "at least one"),
        ({}, [replace(SPLITTING, value_text="0.9 g/L")], None, "capacity"),
        ({}, [replace(SPLITTING, value_text="1.6 eq/L")], "salt_splitting", "133% of new"),
        ({}, [replace(SPLITTING, new_text="")], "salt_splitting_new", "of new resin too"),
        ({}, [replace(SPLITTING, method="")], "salt_splitting_method", "is empty"),
        ({}, [replace(SPLITTING, sd_text="90 %")], "salt_splitting_sd", "possible is"),
        ({}, [FigureAsTyped("moisture", "5 %", "drying")], "moisture", "possible is"),
        ({}, [FigureAsTyped("whole_beads", "120 %", "under the glass")], "whole_beads", "possible is"),
        ({}, [FigureAsTyped("colour", "dark", "by eye")], "property", "not known"),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_nothing(
    plant: SmallPlant,
    anion: ResinLot,
    change: dict[str, Any],
    figures: list[FigureAsTyped],
    field: str | None,
    says: str,
) -> None:
    with pytest.raises(DomainError, match=says) as refused:
        record(plant, anion, *figures, **change)
    assert field is None or refused.value.field == field
    assert not ResinSample.objects.exists() and not ResinFigure.objects.exists()


def test_a_sample_is_taken_from_the_lot_while_it_is(plant: SmallPlant, anion: ResinLot) -> None:
    with pytest.raises(RecordRefused, match="in the future"):
        record(plant, anion, SPLITTING, taken_at=plant.now + timedelta(hours=1))
    with pytest.raises(RecordRefused, match="older than lot N-1"):
        record(plant, anion, SPLITTING, taken_at=plant.now - 3 * YEAR)


def test_a_report_is_written_down_once(plant: SmallPlant, anion: ResinLot) -> None:
    record(plant, anion, SPLITTING)
    with pytest.raises(RecordRefused, match="already, as LT-1001"):
        record(plant, anion, SPLITTING, who="supervisor")


def test_who_has_no_right_writes_nothing(plant: SmallPlant, anion: ResinLot) -> None:
    with pytest.raises(NotAllowed):
        record(plant, anion, SPLITTING, who="operator")
    with pytest.raises(NotAllowed):
        services.look_at_lot(by=plant.by("planner"), lot_id=anion.pk, seen=[], answers={})
    with pytest.raises(NotAllowed):
        set_capacity(plant, anion, "80 %", reason=REASON, who="qc")


@pytest.mark.requirement("RS-07")
def test_a_figure_is_corrected_once_with_a_reason_and_the_old_one_stays(
    plant: SmallPlant, anion: ResinLot
) -> None:
    old = record(plant, anion, SPLITTING).figures.get()
    better = replace(SPLITTING, value_text="0.96 eq/L")
    why = {"category": "slip", "reason": "The report says 0.96."}
    with pytest.raises(RecordRefused, match="kind of reason"):
        services.correct_resin_figure(
            by=plant.by("qc"), figure_id=old.pk, figure=better, category="", reason="The report says 0.96."
        )
    with pytest.raises(RecordRefused, match="another figure"):
        services.correct_resin_figure(by=plant.by("qc"), figure_id=old.pk, figure=TOTAL, **why)
    new = services.correct_resin_figure(by=plant.by("qc"), figure_id=old.pk, figure=better, **why).result
    assert new.replaces == old and new.value == pytest.approx(960.0)
    assert ResinFigure.objects.get(pk=old.pk).value == pytest.approx(900.0)
    with pytest.raises(RecordRefused, match="already corrected"):
        services.correct_resin_figure(by=plant.by("qc"), figure_id=old.pk, figure=better, **why)


def test_carbon_has_no_such_figures(plant: SmallPlant, anion: ResinLot) -> None:
    carbon = resin_services.add_resin_type(
        by=plant.by("supervisor"),
        resin_type=resin_services.ResinTypeSettings("GAC-1", "Coal carbon", "gac", 0, 0, 0.001, 1400, 393.15),
    ).result
    plant.types["gac"] = carbon
    lot = delivered(plant, "gac", "G-1", 0.5)
    with pytest.raises(RecordRefused, match="carbon"):
        record(plant, lot, TOTAL)
    assert ageing_of(lot, plant.now) is None


# --- the line ----------------------------------------------------------------------------------------------------------------
def test_a_lot_of_two_deliveries_is_as_old_as_both_by_share(plant: SmallPlant, anion: ResinLot) -> None:
    young = delivered(plant, "sba_1", "N-2", 0.5)
    first = mixed(plant, "sba_1", "N-3", [(anion, 0.6), (young, 0.4)], 0.2)
    last = mixed(plant, "sba_1", "N-4", [(first, 0.5), (young, 0.5)])
    line = lines_of([last])[last.pk]
    assert [(one.part.origin, round(one.part.share_frac, 6)) for one in line.deliveries] == [
        ("N-2", 0.7),
        ("N-1", 0.3),
    ]
    assert line.shares[first.pk] == pytest.approx(0.5) and line.shares[young.pk] == pytest.approx(0.7)
    found = aged(plant, last)
    assert found.age_years == pytest.approx(0.7 * 0.5 + 0.3 * 2.0, abs=2e-3)
    by_hand = prior(Curve.TYPE_1, [Part(0.7, 0.5), Part(0.3, 2.0)])
    assert found.weakest.posterior.prior.mean == pytest.approx(by_hand.mean, abs=1e-3)


def test_what_is_of_unrecorded_origin_is_of_unknown_age(plant: SmallPlant, anion: ResinLot) -> None:
    last = mixed(plant, "sba_1", "N-5", [(anion, 0.75)])
    parts = lines_of([last])[last.pk].parts(plant.now)
    assert [(round(one.share_frac, 6), one.is_at_least) for one in parts] == [(0.75, False), (0.25, True)]
    found = delivered(plant, "sba_1", "N-6", 1.0, cycles=9, origin="found in a tank", delivered_on=None)
    assert lines_of([found])[found.pk].parts(plant.now)[0].is_at_least


def test_a_listing_takes_no_more_queries_for_more_lots(plant: SmallPlant, anion: ResinLot) -> None:
    lots = [mixed(plant, "sba_1", f"M-{number}", [(anion, 1.0)]) for number in range(6)]
    for lot in lots:
        record(plant, anion, SPLITTING, report=lot.code)
    with CaptureQueriesContext(
        connection,
    ) as few:
        ageing_of_many(ResinLot.objects.select_related("resin_type").filter(pk__in=[lots[0].pk]), plant.now)
    with CaptureQueriesContext(connection) as many:
        ageing_of_many(
            ResinLot.objects.select_related("resin_type").filter(pk__in=[lot.pk for lot in lots]), plant.now
        )
    assert len(many) == len(few) <= 20


# --- what is believed ----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-04")
def test_without_evidence_the_published_table_stands(plant: SmallPlant, anion: ResinLot) -> None:
    found = aged(plant, anion)
    table = left(Curve.TYPE_1, 2.0)
    assert found.proposed.mean == pytest.approx(table.mean, abs=1e-4) == pytest.approx(0.76, abs=1e-3)
    assert found.proposed.sd == pytest.approx(table.sd, abs=1e-4)
    assert found.in_use == 1.0 and found.is_off


@pytest.mark.requirement("RS-04")
def test_a_capacity_test_moves_it_by_precision(plant: SmallPlant, anion: ResinLot) -> None:
    """By hand: prior 0.76 ± √(0.02² + 0.08²); test 0.75 taken 20 days ago, less what the table takes since."""
    record(plant, anion, SPLITTING)
    side = aged(plant, anion).weakest
    then, now = left(Curve.TYPE_1, 2.0 - 20 / 365.25), left(Curve.TYPE_1, 2.0)
    value = 0.75 - (then.mean - now.mean)
    sd = ((0.05 * 0.75) ** 2 + now.sd**2 - then.sd**2) ** 0.5
    w0, w1 = 1 / now.sd**2, 1 / sd**2
    assert side.now.mean == pytest.approx((w0 * now.mean + w1 * value) / (w0 + w1), abs=1e-4)
    assert side.posterior.shares["LT-1001"] == pytest.approx(w1 / (w0 + w1), abs=1e-3)
    assert [piece.is_used for piece in side.pieces] == [True]


def test_the_corrected_figure_counts_and_the_newest_of_its_kind(plant: SmallPlant, anion: ResinLot) -> None:
    old = record(plant, anion, replace(SPLITTING, value_text="0.3 eq/L")).figures.get()
    services.correct_resin_figure(
        by=plant.by("qc"), figure_id=old.pk, figure=SPLITTING, category="slip", reason="The report says 0.9."
    )
    assert aged(plant, anion).weakest.pieces[0].evidence.factor == pytest.approx(0.75, abs=0.01)  # type: ignore[union-attr]
    record(
        plant,
        anion,
        replace(SPLITTING, value_text="0.84 eq/L"),
        taken_at=plant.now - timedelta(days=2),
        report="MB 80",
    )
    pieces = aged(plant, anion).weakest.pieces
    assert [(piece.is_used, piece.why_not) for piece in pieces] == [
        (True, ""),
        (False, "a newer test stands in its place"),
    ]


def test_total_capacity_of_anion_is_shown_and_not_counted(plant: SmallPlant, anion: ResinLot) -> None:
    record(plant, anion, FigureAsTyped("total_capacity", "1.1 eq/L", "titration"))
    piece = aged(plant, anion).weakest.pieces[0]
    assert not piece.is_used and "strong base" in piece.why_not


def test_a_sample_of_a_small_part_is_not_counted(plant: SmallPlant, anion: ResinLot) -> None:
    young = delivered(plant, "sba_1", "N-2", 0.5)
    record(plant, anion, SPLITTING)
    last = mixed(plant, "sba_1", "N-3", [(anion, 0.4), (young, 0.6)])
    piece = aged(plant, last).weakest.pieces[0]
    assert not piece.is_used and "less than half" in piece.why_not


def test_a_rinse_that_rose_speaks_of_anion_and_not_of_cation(
    plant: SmallPlant, anion: ResinLot, cation: ResinLot
) -> None:
    risen = [*outcomes.STEADY, *[9.5] * 10]
    start = plant.now - timedelta(days=300)
    for code, family, first in (("N-1", "sba_1", 1), ("K-1", "sac_h", 101)):
        rows = outcomes.line_of(
            risen, first=first, line=code, family=family, lot_in=code, recipe=f"R-{family}"
        )
        for index, row in enumerate(rows):
            row.ended_at = start + timedelta(days=10 * index)
            row.save()
    of_anion, of_cation = aged(plant, anion).weakest, aged(plant, cation).weakest
    assert of_anion.pieces[0].is_used and of_anion.now.mean < of_anion.posterior.prior.mean
    assert not of_cation.pieces[0].is_used and "no measure of capacity" in of_cation.pieces[0].why_not
    assert of_cation.now.mean == pytest.approx(of_cation.posterior.prior.mean)
    # a rinse that drifts is a sign of organic matter on anion resin, by itself
    assert [one.foulant.code for one in of_anion.suspects] == ["organics"]


def test_a_load_of_exhausted_tanks_is_a_measure_and_another_a_bound(
    plant: SmallPlant, cation: ResinLot
) -> None:
    recent = plant.now - timedelta(days=30)
    outcomes.line_of([6.8], first=1, line="K-1", at=recent, load_frac=0.80, is_load_whole=True)
    outcomes.line_of([6.8], first=2, line="K-1", at=recent, load_frac=0.97, is_load_whole=False)
    outcomes.line_of([6.8], first=3, line="K-1", at=recent, load_frac=2.4, is_load_whole=True)
    side = aged(plant, cation).weakest
    by_what = {
        piece.evidence.key if piece.evidence else "odd": piece
        for piece in side.pieces
        if "Batch" in piece.what or "exhausted" in piece.what
    }
    assert by_what["loads"].evidence.factor == pytest.approx(0.80)  # type: ignore[union-attr]
    assert by_what["load_at_least"].evidence.is_at_least  # type: ignore[union-attr]
    assert not by_what["odd"].is_used and "look at the throughput" in by_what["odd"].why_not


@pytest.mark.requirement("RS-06")
def test_plans_and_the_next_lot_take_the_factor_that_was_set(plant: SmallPlant, cation: ResinLot) -> None:
    set_capacity(plant, cation, "80 %", reason=REASON, who="supervisor")
    visits = factories.accepted_tanks(plant, "sac_h", 2)
    Tank.objects.filter(pk__in=[visit.tank_id for visit in visits]).update(resin_lot=cation)
    batch = factories.frozen_batch(
        plant, "sac_h", list(TankVisit.objects.filter(pk__in=[one.pk for one in visits]))
    )
    assert plan_of(batch).request.resin.capacity_factor == pytest.approx(0.8)
    assert lot_from(batch, plant.by("qc")).capacity_factor == pytest.approx(0.8)


# --- looks and advice ------------------------------------------------------------------------------------------------------------
def look(plant: SmallPlant, lot: ResinLot, *seen: str, who: str = "operator", **answers: str) -> LotLook:
    return services.look_at_lot(by=plant.by(who), lot_id=lot.pk, seen=seen, answers=answers).result


@pytest.mark.requirement("RS-05")
def test_signs_lead_to_a_quick_test_and_the_test_to_cleaning(plant: SmallPlant, cation: ResinLot) -> None:
    record(plant, cation, TOTAL)
    assert aged(plant, cation).urgent.step is Step.GO_ON
    look(plant, cation, "brown", "short_runs")
    found = aged(plant, cation)
    assert found.urgent.step is Step.TEST and "Soak a pinch" in found.urgent.reason
    look(plant, cation, "brown", iron="yes")
    found = aged(plant, cation)
    assert found.urgent.step is Step.CLEAN and found.weakest.suspects[0].answer is Answer.YES
    assert found.weakest.suspects[0].recipes == ("CL-FE-H",)
    plant.forward(hours=1)
    look(plant, cation, "brown", iron="no")
    assert aged(plant, cation).urgent.step is Step.GO_ON


def test_what_was_seen_before_a_cleaning_no_longer_counts(plant: SmallPlant, cation: ResinLot) -> None:
    clean = next(one for one in default_recipes() if one.code == "CL-FE-H")
    factories.approved_recipe(plant, clean)
    look(plant, cation, "brown", iron="yes")
    plant.forward(days=2)
    outcomes.line_of([6.8], first=1, line="K-1", at=plant.now - timedelta(days=1), recipe="CL-FE-H")
    found = aged(plant, cation)
    assert found.cleaned_at is not None and found.looks == () and not found.weakest.suspects


def test_a_look_is_refused_where_it_does_not_fit(plant: SmallPlant, anion: ResinLot) -> None:
    with pytest.raises(RecordRefused, match="not known"):
        look(plant, anion, "purple")
    with pytest.raises(RecordRefused, match="does not go with"):
        look(plant, anion, iron="yes")
    with pytest.raises(RecordRefused, match="answer"):
        look(plant, anion, organics="maybe")
    assert not LotLook.objects.exists()


def test_lots_are_listed_worst_first(plant: SmallPlant, anion: ResinLot, cation: ResinLot) -> None:
    old = delivered(plant, "sba_2", "Z-1", 4.5)
    gone = delivered(plant, "sba_1", "Z-2", 5.0)
    resin_services.scrap_lot(by=plant.by("supervisor"), lot_id=gone.pk, reason="Broken beads all over.")
    found = worst_first(ageing_of_many(list(lots_in_use()), plant.now))
    assert [one.lot.code for one in found] == ["Z-1", "N-1", "K-1"]
    assert found[0].urgent.step is Step.REPLACE and "4 years" in found[0].urgent.reason
    assert old.pk == found[0].lot.pk


# --- the factor that plans count with -------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-06")
def test_setting_the_factor_keeps_what_was_proposed(plant: SmallPlant, anion: ResinLot) -> None:
    record(plant, anion, SPLITTING)
    proposed = aged(plant, anion).proposed
    row = set_capacity(plant, anion, "74 %", reason=REASON, who="supervisor").result
    assert (row.number, row.factor) == (1, pytest.approx(0.74))
    assert row.proposed == pytest.approx(proposed.mean) and row.proposed_low < row.factor < row.proposed_high
    assert "sampled" in row.basis and "published ageing" in row.basis
    assert factors_of([anion]) == {anion.pk: pytest.approx(0.74)}
    signature = row.signature
    assert holds(signature) and (signature.record_key, signature.person) == ("N-1/1", row.set_by)
    assert json.loads(signature.content)["factor"] == pytest.approx(0.74)
    assert json.loads(signature.content)["reason"] == REASON
    told = story([("resin_lot", str(anion.pk))], newest_first=True)[0].sentence
    assert "plans count with 74 % of new capacity, before 100 %" in told


@pytest.mark.parametrize(
    ("text", "error"),
    [("0 %", OutOfRange), ("130 %", OutOfRange), ("much", DomainError), ("4 %", OutOfRange)],
)
def test_a_factor_that_no_plan_takes_is_refused(
    plant: SmallPlant, anion: ResinLot, text: str, error: type[DomainError]
) -> None:
    with pytest.raises(error):
        set_capacity(plant, anion, text, reason=REASON, who="supervisor")
    assert not LotCapacity.objects.exists()


def test_no_factor_without_the_signature_of_who_sets_it(plant: SmallPlant, anion: ResinLot) -> None:
    given = {"lot_id": anion.pk, "factor_text": "74 %", "reason": REASON, "seen_number": 0}
    for permit, message in (
        (factories.permit(plant, "supervisor 2", services.CAPACITY_MEANING), "by another person"),
        (factories.permit(plant, "supervisor", "something else"), "not “capacity that plans count with"),
    ):
        with pytest.raises(SignatureRefused, match=message):
            services.set_lot_capacity(by=plant.by("supervisor"), permit=permit, **given)
    assert not LotCapacity.objects.exists()


@pytest.mark.requirement("RS-06")
def test_a_factor_from_a_stale_page_is_refused(plant: SmallPlant, anion: ResinLot) -> None:
    set_capacity(plant, anion, "80 %", reason=REASON, who="supervisor")
    with pytest.raises(StaleRecord):
        set_capacity(plant, anion, "70 %", reason=REASON, who="supervisor 2")
    assert LotCapacity.objects.get().factor == pytest.approx(0.8)


def test_a_scrapped_lot_takes_no_factor_and_a_short_reason_none(plant: SmallPlant, anion: ResinLot) -> None:
    with pytest.raises(RecordRefused, match="at least 10"):
        set_capacity(plant, anion, "80 %", reason="so", who="supervisor")
    resin_services.scrap_lot(by=plant.by("supervisor"), lot_id=anion.pk, reason="Broken beads all over.")
    with pytest.raises(RecordRefused, match="scrapped"):
        set_capacity(plant, anion, "80 %", reason=REASON, who="supervisor")


def test_the_database_refuses_a_second_figure_and_a_row_without_reason(
    plant: SmallPlant, anion: ResinLot
) -> None:
    row = record(plant, anion, SPLITTING).figures.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        ResinFigure.objects.filter(pk=row.pk).update(method="")
