"""The ancestry of a lot, walked both ways, and the resin of a plan."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test.utils import CaptureQueriesContext

from regenplant.audit.by import By
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.models import Person
from regenplant.resins import services
from regenplant.resins.models import ResinLot, ResinType
from regenplant.resins.selectors import ancestry, resin_data
from tests.resins.test_services import SAC, mixed, received

Acts = Callable[..., By]


@pytest.fixture
def resin(supervisor: Person, by: Acts) -> ResinType:
    return services.add_resin_type(by=by(supervisor), resin_type=SAC).result


@pytest.fixture
def line(resin: ResinType, supervisor: Person, operator: Person, by: Acts) -> dict[str, ResinLot]:
    """R1 and R2 are new; R3 = 0.6 R1 + 0.3 R2; R4 = 0.5 R3 + 0.3 R1."""
    lots = {code: received(by(supervisor), resin, code) for code in ("R1", "R2")}
    lots["R3"] = mixed(by(operator), resin, "R3", [(lots["R1"].pk, 0.6), (lots["R2"].pk, 0.3)])
    lots["R4"] = mixed(by(operator), resin, "R4", [(lots["R3"].pk, 0.5), (lots["R1"].pk, 0.3)])
    return lots


def test_shares_multiply_along_a_path_and_add_over_paths(line: dict[str, ResinLot]) -> None:
    """By hand: R1 in R4 is 0.3 + 0.5 · 0.6 = 0.6; R2 in R4 is 0.5 · 0.3 = 0.15."""
    found = {relative.lot.code: relative for relative in ancestry(line["R4"]).came_from}
    assert {code: relative.share_frac for code, relative in found.items()} == {
        "R1": pytest.approx(0.6),
        "R2": pytest.approx(0.15),
        "R3": pytest.approx(0.5),
    }
    assert {code: relative.generation for code, relative in found.items()} == {"R1": 1, "R2": 2, "R3": 1}


def test_the_line_is_walked_downward_too(line: dict[str, ResinLot]) -> None:
    went = {relative.lot.code: relative.share_frac for relative in ancestry(line["R2"]).went_to}
    assert went == {"R3": pytest.approx(0.3), "R4": pytest.approx(0.15)}


def test_what_is_not_recorded_is_said(line: dict[str, ResinLot]) -> None:
    assert ancestry(line["R4"]).unrecorded_frac == pytest.approx(0.2)
    assert ancestry(line["R1"]).unrecorded_frac == 1.0


def test_a_long_line_ends_and_takes_few_queries(
    resin: ResinType,
    supervisor: Person,
    operator: Person,
    by: Acts,
    django_assert_max_num_queries: Callable[..., CaptureQueriesContext],
) -> None:
    lot = received(by(supervisor), resin, "L0")
    for number in range(1, 41):
        lot = mixed(by(operator), resin, f"L{number}", [(lot.pk, 1.0)])
    with django_assert_max_num_queries(30):
        came = ancestry(lot).came_from
    assert len(came) == 25 and came[0].lot.code == "L39"


def test_the_resin_of_a_plan_is_the_type_with_the_lots_own_factor(resin: ResinType) -> None:
    data = resin_data(resin, "R1, R2", 0.93)
    assert data.family is ResinFamily.SAC_HYDROGEN
    assert (data.lot_code, data.capacity_factor, data.swelling_frac) == ("R1, R2", 0.93, 0.07)
