"""The strictest of several specifications: never looser than any of them, each figure with where it comes from."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import USP_645_STAGE_1
from regenplant.core.errors import PlanRefused
from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.specification import Limit, LimitBasis, Specification
from regenplant.core.process.strictest import Part, is_stricter_or_equal, looser, work_out
from regenplant.core.process.vocabulary import ResinFamily

MIXED = next(one for one in default_specifications() if one.code == "Q-MB")
SODIUM = Limit("sodium", "Sodium", "concentration", high=1e-5)


def with_limit(specification: Specification, key: str, **change: object) -> Specification:
    limits = tuple(
        replace(limit, **change) if limit.measurement == key else limit  # type: ignore[arg-type]
        for limit in specification.limits
    )
    return replace(specification, limits=limits)


CUSTOMER = replace(
    with_limit(with_limit(MIXED, "conductivity", high=2e-5), "silica", high=2e-4, each_tank=True),
    code="Q-MBX", hold_time_s=1800.0, limits=(*with_limit(with_limit(MIXED, "conductivity", high=2e-5), "silica", high=2e-4, each_tank=True).limits, SODIUM),
)  # fmt: skip


def test_of_each_limit_the_stricter_with_where_it_comes_from() -> None:
    found = work_out([Part("Q-MB version 1", MIXED), Part("Q-MBX version 1", CUSTOMER)])
    limits = {limit.measurement: limit for limit in found.specification.limits}
    assert limits["conductivity"].high == 2e-5
    assert limits["silica"].high == 1e-4 and limits["silica"].each_tank
    assert limits["sodium"] == SODIUM and limits["ph"] == MIXED.limit("ph")
    assert found.specification.hold_time_s == 1800.0
    assert found.specification.code == "Q-MB"
    told = {(one.what, one.rule): one.sources for one in found.origins}
    assert told["Conductivity at 25 °C", "at most"] == ("Q-MBX version 1",)
    assert told["Silica", "at most"] == ("Q-MB version 1",)
    assert told["Silica", "measured"] == ("Q-MBX version 1",)
    assert told["Rinse", "hold time"] == ("Q-MBX version 1",)
    assert told["Rinse", "least rinse"] == ("Q-MB version 1", "Q-MBX version 1")


def test_one_alone_stays_as_it_is() -> None:
    assert work_out([Part("Q-MB version 1", MIXED)]).specification == MIXED


def test_where_a_specification_asks_for_less_is_said() -> None:
    words = " ".join(looser(CUSTOMER, MIXED))
    assert "Silica is at most 0.2" in words and "here it is at most 0.1" in words
    assert looser(MIXED, MIXED) == ()
    assert "Sodium is not limited there" in " ".join(looser(MIXED, CUSTOMER))
    shorter = replace(MIXED, hold_time_s=60.0)
    assert looser(shorter, MIXED) == ("hold time is 1\u00a0min there; here it is 15\u00a0min",)
    assert looser(replace(MIXED, maximum_rinse_bv=None), MIXED)[0].startswith("most rinse is none there")


@pytest.mark.parametrize(
    ("other", "code"),
    [
        (replace(MIXED, family=ResinFamily.SBA_TYPE_1), "other_family"),
        (replace(MIXED, compensation=Compensation.ACID), "other_trace"),
        (with_limit(MIXED, "ph", low=8.5, high=9.5), "limits_exclude"),
        (with_limit(MIXED, "silica", kind="trace_concentration"), "limits_unlike"),
        (replace(MIXED, minimum_rinse_bv=50.0, maximum_rinse_bv=60.0), "rinse_excludes"),
    ],
)
def test_what_excludes_each_other_is_not_made_in_one_batch(other: Specification, code: str) -> None:
    with pytest.raises(PlanRefused) as refusal:
        work_out([Part("A", MIXED), Part("B", other)])
    assert refusal.value.code == code


def test_of_two_tables_each_row_the_lower() -> None:
    def table(*rows: tuple[float, float]) -> Limit:
        return Limit(
            "conductivity", "Conductivity", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, table=rows
        )

    own = replace(MIXED, limits=(table(*USP_645_STAGE_1),))
    tighter = replace(MIXED, limits=(table((273.15, 1e-4), (298.15, 1.1e-4)),))
    merged = work_out([Part("A", own), Part("B", tighter)]).specification.limits[0].table
    at = dict(merged)
    assert at[273.15] == pytest.approx(0.6e-4)  # of USP <645>, stage 1, at 0 °C
    assert at[298.15] == pytest.approx(1.1e-4) and at[373.15] == pytest.approx(1.1e-4)


LIMITS = st.builds(
    lambda high, each, row, rinse: replace(
        SODIUM, high=high, each_tank=each, readings_in_row=row, minimum_rinse_bv=rinse
    ),
    st.floats(1e-6, 1e-3), st.booleans(), st.integers(1, 4), st.floats(0.0, 20.0),
)  # fmt: skip
SPECIFICATIONS = st.builds(
    lambda conductivity, sodium, hold, readings, least, jump: replace(
        with_limit(MIXED, "conductivity", high=conductivity),
        limits=(*with_limit(MIXED, "conductivity", high=conductivity).limits, *([sodium] if sodium else [])),
        hold_time_s=hold, consecutive_readings=readings, minimum_rinse_bv=least, jump_factor=jump,
    ),
    st.floats(6e-6, 1e-3), st.none() | LIMITS, st.floats(60.0, 3600.0), st.integers(2, 9), st.floats(1.0, 30.0), st.floats(1.5, 1000.0),
)  # fmt: skip


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.lists(SPECIFICATIONS, min_size=1, max_size=4))
def test_what_is_worked_out_is_as_strict_as_every_part_whatever_their_order(
    parts: list[Specification],
) -> None:
    named = [Part(f"Q-{number}", one) for number, one in enumerate(parts)]
    found = work_out(named).specification
    assert all(is_stricter_or_equal(found, one) for one in parts)
    assert found.jump_factor == min(one.jump_factor for one in parts)
    backwards = work_out(named[::-1]).specification
    assert {replace(limit, source="") for limit in backwards.limits} == {
        replace(limit, source="") for limit in found.limits
    }
    assert (backwards.hold_time_s, backwards.minimum_rinse_bv) == (found.hold_time_s, found.minimum_rinse_bv)
