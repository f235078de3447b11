"""Every limit and every change has its sentence; a day is told once; a score that stays is said to stay."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from regenplant.core.scheduling.limits import Limit, LimitKind
from regenplant.core.scheduling.on_board import Parts
from regenplant.core.scheduling.relaxing import Relaxation, RelaxKind
from regenplant.core.scheduling.why_here import Elsewhere, Pooling, Refusal, Way, WhyHere, WhyTanks
from regenplant.core.scheduling.why_now import Binding, WhyNow
from regenplant.planning.answers import Answer, Change
from regenplant.planning.clock import PlanClock
from regenplant.web.presenters import day_plan_help, day_plan_why
from regenplant.web.presenters.day_plan_why import each_day_once, parts_words, score_words
from tests import factories
from tests.core.scheduling.small_plant import planned, plenty

SAME = Parts(0, 0, 0, 0, 0, 0, 0)
NAMES = {
    LimitKind.SKID: "hcl", LimitKind.STOCK: "hcl", LimitKind.STRENGTH: "hcl",
    LimitKind.WATER: "deionized", LimitKind.BUDGET: "tds",
}  # fmt: skip


@pytest.fixture
def view(db: None) -> Any:
    """A plan of two batches, the second with a code."""
    plant = factories.small_plant(now=datetime(2026, 3, 2, 5, tzinfo=UTC))
    problem, plan = planned(plenty(100, 40), ("V1", ("K1",), 0), ("V2", ("K2",), 0))
    clock = PlanClock(plant.now, 5, 3)
    return SimpleNamespace(problem=problem, plan=plan, clock=clock, codes={"B2": "PB-1002"})


def binding(kind: LimitKind, by: tuple[str, ...], until: int | None, is_offered: bool) -> Binding:
    return Binding(Limit(kind, NAMES.get(kind, "")), 60, until, "rinse", by, is_offered, (0,), 90)


def why(*bindings: Binding, together: bool = False, earlier: Parts | None = None) -> WhyNow:
    return WhyNow("B1", 300, 420, 390, earlier, None, bindings, together)


@pytest.mark.parametrize("kind", LimitKind)
@pytest.mark.parametrize("by", [(), ("B2",)])
@pytest.mark.parametrize("is_offered", [True, False])
def test_every_limit_is_a_sentence_with_its_time_and_what_it_costs(
    view: Any, kind: LimitKind, by: tuple[str, ...], is_offered: bool
) -> None:
    words = day_plan_why._Words(view, "metric")
    (sentence,) = words.now(why(binding(kind, by, 120, is_offered)))
    assert sentence.endswith(f"Without that it would be ready {words.at(90)}.")
    assert words.at(120) in sentence or words.at(60) in sentence
    assert "  " not in sentence and "None" not in sentence


def test_limits_that_only_bind_together_say_so_and_codes_are_told_as_they_are_scanned(view: Any) -> None:
    words = day_plan_why._Words(view, "metric")
    lead, *rows = words.now(
        why(
            binding(LimitKind.TAKEN, ("B2",), 120, True),
            binding(LimitKind.TECHNICIANS, (), 200, False),
            together=True,
        )
    )
    assert lead.startswith("No limit keeps it back alone.")
    assert [row.split()[0] for row in rows] == ["V1", "At"]
    assert "PB-1002" in rows[0]
    assert "no QC technician is on shift" in rows[1]


@pytest.mark.parametrize(
    ("late", "words"),
    [(12.0, "costs more: score +12"), (-12.0, "would be better: score −12"), (0.0, "same score")],
)
def test_a_place_that_would_be_earlier_is_told_with_its_price(view: Any, late: float, words: str) -> None:
    costs = Parts(late, 0, 0, 0, 0, 0, 0)
    sentences = list(day_plan_why._Words(view, "metric").now(why(earlier=costs)))
    assert sentences[0].startswith("Nothing keeps it")
    assert words in sentences[1]
    assert "30 min earlier" in sentences[1]


def test_every_other_vessel_is_told_once(view: Any) -> None:
    others = tuple(Elsewhere(f"X{number}", refusal) for number, refusal in enumerate(Refusal))
    costs = Parts(30, 0, 25, 5, 0, 0, 0)
    others = (*others, Elsewhere("Y", None, 240, costs, True))
    sentences = list(day_plan_why._Words(view, "metric").here(WhyHere("B1", "V1", 100, others)))
    assert len(sentences) == len(others)
    assert sentences[0] == "X0 is not for cation."
    assert sentences[-1].endswith(
        "below the minimum fill of that vessel: score +60 (lateness +30, fill below the minimum +25, chemicals, water and waste +5)."
    )


def test_poolings_are_told_with_their_price_or_that_they_have_no_place(view: Any) -> None:
    why_tanks = WhyTanks(
        "B1", ("K1",), 100, 100, 7, ("K3", "K4", "K5", "K6", "K7", "K8"), ("K9",),
        Pooling(Way.ADD, "K2", "B2", Parts(0, -35, 0, 0, 0, 0, 0)), Pooling(Way.APART, "K1", "", None),
        Pooling(Way.JOIN, "", "B2", SAME),
    )  # fmt: skip
    sentences = list(day_plan_why._Words(view, "metric").tanks(why_tanks))
    assert sentences[0] == "One tank with 100.0\u00a0L of resin; 100.0\u00a0L are left in the vessel."
    assert "K3, K4, K5, K6 and 2 others" in sentences[1]
    assert sentences[2] == "K9 comes after it is loaded."
    assert "K2 from PB-1002 would cost least to go with it: score −35 (number of batches −35)" in sentences[3]
    assert sentences[4] == "Joined with all of PB-1002: the score stays the same."
    assert "not all have a place" in sentences[5]


def change(kind: RelaxKind, late: int = 0, costs: float = 12.0) -> Change:
    name = {RelaxKind.WATER: "deionized", RelaxKind.VESSEL_MORE: "V1", RelaxKind.VESSEL_OPEN: "V2"}.get(
        kind, "hcl"
    )
    return Change(Relaxation(kind, name, 60, 120, 2.0), 200, late, costs, 1, late == 0)


@pytest.mark.parametrize("kind", RelaxKind)
def test_every_change_is_a_row(view: Any, kind: RelaxKind) -> None:
    row = day_plan_help._Words(view, "metric").row(change(kind))
    assert (row.still_late, row.score, row.others) == ("on time", "+12", "1 more")
    assert (row.what == "Nothing changed") == (kind is RelaxKind.NOTHING)


@pytest.mark.parametrize(
    ("alone", "first", "helps", "words"),
    [
        (500, change(RelaxKind.NOTHING, 100), 0, "Even alone in the plant"),
        (100, change(RelaxKind.NOTHING, 0, -3.0), 0, "No limit has to change"),
        (100, change(RelaxKind.NOTHING, 100), 2, "Each of these brings it on time by itself: 2 changes of 3"),
        (100, change(RelaxKind.NOTHING, 0, 40.0), 0, "no change that was tried does it cheaper"),
        (100, change(RelaxKind.NOTHING, 100), 0, "Nothing of what was tried brings it on time"),
    ],
)
def test_the_first_sentence_says_what_matters_most(
    view: Any, alone: int, first: Change, helps: int, words: str
) -> None:
    answer = Answer(400, 600, alone, first, (change(RelaxKind.WASTE, 5),) * 3, 2)
    told = day_plan_help._Words(view, "metric")
    assert words in told.lead(answer, helps)
    sentences = told.sentences(answer)
    assert sentences[-1].startswith("2 changes more could not be tried")
    assert any("A promise that this plan can keep" in one for one in sentences) == (not first.is_on_time)


def test_a_day_is_told_once_and_again_where_it_is_another() -> None:
    told = "At 2026-03-02 08:10 until 2026-03-02 09:50, then 2026-03-03 06:00 and 2026-03-02 07:00."
    assert (
        each_day_once(told) == "At 2026-03-02 08:10 until 09:50, then 2026-03-03 06:00 and 2026-03-02 07:00."
    )


def test_scores_are_told_with_their_sign() -> None:
    assert score_words(-12660.4) == "score −12\u202f660"
    assert score_words(0.4) == "the same score"
    assert (
        parts_words(Parts(20, -20, 0, 0, 0, 0.2, 0)) == "the same score (lateness +20, number of batches −20)"
    )
