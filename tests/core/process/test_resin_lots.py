"""Parts of a lot by delivery, and volumes by ionic form: against sums by hand and against what mixing must keep."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.errors import OutOfRange
from regenplant.core.process.resin_lots import (
    SMALLEST_SHARE_FRAC,
    TOGETHER,
    Part,
    blended,
    in_exhausted_form_m3,
    in_form_m3,
    mean_cycles,
    new_part,
    require_same_count,
)
from regenplant.core.process.vocabulary import IonicForm, ResinFamily


def by_origin(parts: tuple[Part, ...]) -> dict[str, Part]:
    return {part.origin: part for part in parts}


@pytest.mark.requirement("RS-01")
def test_shares_and_cycles_by_hand_over_two_generations():
    """N1 (3 cycles) and N2 (0) mixed 3 : 1, regenerated, then 1 : 1 with N1 again and regenerated.

    By hand: first lot N1 0.75 at 4, N2 0.25 at 1. Second: N1 0.5 · 0.75 + 0.5 = 0.875, its mean cycles
    (0.375 · 4 + 0.5 · 3) / 0.875 + 1 = 3.42857 + 1; N2 0.125 at 2. All of it: 0.875 · 4.42857 + 0.125 · 2 = 4.125.
    """
    old, new = new_part("N1", 3), new_part("N2", 0)
    first = blended([(0.75, old), (0.25, new)], made="L1", cycles_added=1)
    assert {part.origin: (part.share_frac, part.cycles_mean) for part in first} == {
        "N1": (0.75, 4),
        "N2": (0.25, 1),
    }
    second = by_origin(blended([(0.5, first), (0.5, old)], made="L2", cycles_added=1))
    assert second["N1"].share_frac == pytest.approx(0.875)
    assert second["N1"].cycles_mean == pytest.approx(3.4285714 + 1)
    assert (second["N1"].cycles_least, second["N1"].cycles_most) == (4, 5)
    assert (second["N2"].share_frac, second["N2"].cycles_mean) == (pytest.approx(0.125), pytest.approx(2))
    assert mean_cycles(second.values()) == pytest.approx(4.125)


def test_a_rest_of_unrecorded_origin_is_at_least_as_old_as_the_lot_it_was_met_in():
    parts = by_origin(blended([(0.6, new_part("N1", 2))], made="L1", cycles_added=1))
    assert parts["L1"].is_recorded is False and parts["L1"].share_frac == pytest.approx(0.4)
    assert parts["L1"].cycles_least == 1 and parts["N1"].cycles_least == 3


def test_a_delivery_of_which_next_to_nothing_is_left_is_no_longer_told_apart():
    parts = by_origin(
        blended([(0.9997, new_part("N1", 0)), (0.0003, new_part("N2", 7))], made="L", cycles_added=0)
    )
    assert set(parts) == {"N1", TOGETHER}
    assert parts[TOGETHER].share_frac == pytest.approx(0.0003) and parts[TOGETHER].cycles_most == 7


def test_shares_above_a_whole_are_refused():
    with pytest.raises(OutOfRange, match=r"add up to 1\.1"):
        blended([(0.6, new_part("N1", 0)), (0.5, new_part("N2", 0))], made="L", cycles_added=0)


lots = st.lists(st.tuples(st.floats(0.01, 10), st.integers(0, 400)), min_size=1, max_size=8)


@given(lots, st.integers(0, 3), st.integers(1, 12))
@pytest.mark.requirement("RS-01")
def test_mixing_loses_no_resin_and_no_cycle(volumes, added, generations):
    """Shares add up to one and the mean of all cycles is the volume-weighted one, however often it is mixed on."""
    whole = sum(volume for volume, _ in volumes)
    pieces = [
        (volume / whole, new_part(f"N{number}", cycles)) for number, (volume, cycles) in enumerate(volumes)
    ]
    lot = blended(pieces, made="L", cycles_added=added)
    for _ in range(generations):
        lot = blended([(0.3, lot), (0.7, lot)], made="L", cycles_added=1)
    by_hand = sum(volume * cycles for volume, cycles in volumes) / whole + added + generations
    assert sum(part.share_frac for part in lot) == pytest.approx(1.0)
    assert mean_cycles(lot) == pytest.approx(by_hand)
    assert all(part.cycles_least <= part.cycles_mean + 1e-9 <= part.cycles_most + 1e-6 for part in lot)
    assert all(part.share_frac >= SMALLEST_SHARE_FRAC or part.origin == TOGETHER for part in lot)


@given(st.permutations([("N1", 0.2, 3), ("N2", 0.5, 0), ("N3", 0.3, 9)]))
@pytest.mark.requirement("RS-01")
def test_the_order_of_mixing_does_not_matter(order):
    parts = blended([(share, new_part(code, cycles)) for code, share, cycles in order], made="L", cycles_added=1)  # fmt: skip
    assert [(part.origin, round(part.share_frac, 9), part.cycles_mean) for part in parts] == [
        ("N2", 0.5, 1),
        ("N3", 0.3, 10),
        ("N1", 0.2, 4),
    ]


# --- volumes ----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-02")
def test_a_volume_in_the_regenerated_form_shrinks_to_the_exhausted_one():
    """By hand: 107 L of hydrogen form with 7 % swelling are 100 L of sodium form (swelling: data sheet of the type)."""
    seen = in_exhausted_form_m3(0.107, IonicForm.HYDROGEN, ResinFamily.SAC_HYDROGEN, 0.07)
    assert seen == pytest.approx(0.100)
    assert in_form_m3(seen, IonicForm.HYDROGEN, ResinFamily.SAC_HYDROGEN, 0.07) == pytest.approx(0.107)
    assert in_exhausted_form_m3(0.107, IonicForm.SODIUM, ResinFamily.SAC_HYDROGEN, 0.07) == pytest.approx(
        0.107
    )


@pytest.mark.requirement("RS-02")
def test_a_form_whose_growth_is_not_on_record_is_refused():
    with pytest.raises(OutOfRange, match="Count it in sodium form") as refused:
        in_exhausted_form_m3(0.1, IonicForm.HYDROGEN, ResinFamily.SAC_SODIUM, 0.0)
    assert refused.value.field == "volume_form"


@pytest.mark.parametrize(("counted", "fits"), [(0.95, True), (1.05, True), (0.949, False), (1.051, False)])
def test_a_count_that_cannot_come_from_what_went_in_is_refused(counted, fits):
    """Five percent: common practice for counts of settled resin."""
    if fits:
        assert require_same_count(counted, 1.0, "The mixture") == pytest.approx(counted - 1.0)
        return
    with pytest.raises(OutOfRange, match=r"950\.0 to 1050\.0 L"):
        require_same_count(counted, 1.0, "The mixture")
