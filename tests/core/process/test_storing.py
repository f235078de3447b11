"""What must not meet in storage, held against a list written by hand.

The pairs are those of any table of incompatible chemicals (memory), acid and hypochlorite also read: C&EN 96(2), 2018, on the CSB report
of 15 141 L of sulfuric acid unloaded into a hypochlorite tank. They are not taken from the rules.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from regenplant.core.process.storing import RULES, Reach, Stands, kept_apart, meetings_of, never_beside
from regenplant.core.process.vocabulary import Chemical

HCL, H2SO4, NAOH = Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID, Chemical.SODIUM_HYDROXIDE
SODA, AMMONIA, SALT = Chemical.SODIUM_CARBONATE, Chemical.AMMONIA, Chemical.SODIUM_CHLORIDE
DITHIONITE, BLEACH, PAA = (
    Chemical.SODIUM_DITHIONITE,
    Chemical.SODIUM_HYPOCHLORITE,
    Chemical.PERACETIC_ACID,
)
NOT_IN_A_ROOM = {
    frozenset(pair)
    for pair in (
        (HCL, BLEACH), (H2SO4, BLEACH), (HCL, DITHIONITE), (H2SO4, DITHIONITE), (BLEACH, PAA), (BLEACH, AMMONIA),
        (BLEACH, DITHIONITE), (PAA, DITHIONITE),
    )
}  # fmt: skip
NOT_IN_A_BUND = {
    frozenset(pair)
    for pair in (
        (HCL, NAOH), (H2SO4, NAOH), (HCL, AMMONIA), (H2SO4, AMMONIA), (HCL, SODA), (H2SO4, SODA), (HCL, H2SO4),
        (NAOH, PAA), (AMMONIA, PAA), (SODA, PAA),
    )
}  # fmt: skip


@pytest.mark.parametrize("pair", list(combinations(Chemical, 2)), ids="-".join)
def test_every_pair_is_kept_apart_as_far_as_the_list_by_hand_says(pair: tuple[Chemical, Chemical]) -> None:
    one, other = pair
    reaches = {rule.reach for rule in kept_apart(one, other)}
    assert reaches == {rule.reach for rule in kept_apart(other, one)}
    both = frozenset(pair)
    expected = {Reach.ROOM} if both in NOT_IN_A_ROOM else {Reach.BUND} if both in NOT_IN_A_BUND else set()
    assert reaches == expected


def test_salt_may_stand_beside_everything_and_two_of_one_chemical_beside_each_other() -> None:
    assert never_beside(SALT) == ()
    assert all(not kept_apart(chemical, chemical) for chemical in Chemical)


def test_only_a_rule_that_was_read_refuses() -> None:
    assert {rule.key for rule in RULES if rule.is_refused} == {"acid_bleach"}
    assert all(rule.source == "storage_memory" for rule in RULES if not rule.is_refused)


def test_bund_and_room_are_told_apart_and_a_room_is_known_however_it_is_written() -> None:
    acid = Stands("T-HCL", HCL, "A", "Chemical room")
    caustic_beside = Stands("T-NAOH", NAOH, "A", "Chemical room")
    caustic_apart = Stands("T-NAOH2", NAOH, "B", "Chemical room")
    bleach = Stands("T-NAOCL", BLEACH, "C", "chemical ROOM")
    elsewhere = Stands("T-BL2", BLEACH, "D", "Shed")
    found = meetings_of(acid, [caustic_beside, caustic_apart, bleach, elsewhere])
    assert [(meeting.other.label, meeting.is_refused) for meeting in found] == [
        ("T-NAOCL", True),
        ("T-NAOH", False),
    ]
    assert "chlorine gas" in found[0].sentence and "never in one room" in found[0].sentence
    assert "in bund A" in found[1].sentence


def test_a_tank_of_which_nobody_said_where_it_stands_meets_nothing() -> None:
    assert meetings_of(Stands("T", HCL, "", ""), [Stands("U", BLEACH, "", "")]) == ()
