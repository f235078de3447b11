"""The letter about a refused tank says what was found and asked, and sends nobody to handle what is not known."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.process.drains import Destination, Drained, refusal
from regenplant.core.process.refusal_letter import Refused, refusal_letter

TANK = Refused(
    plant="Test plant",
    customer="Invented Finishing",
    serial="T-10007",
    size="14 × 47",
    resin="SBA1-S",
    came_on="2026-03-02",
    reason="The first water is yellow",
    findings=("The first water is yellow: metals or chromate are possible.",),
    site="Hall 2",
    declared_service="rinse water",
    stands_at="Q1",
)


def whole(tank: Refused) -> str:
    letter = refusal_letter(tank)
    return "\n".join((letter.subject, *letter.opening, *letter.findings, *letter.asks, *letter.closing))


def test_it_says_which_tank_why_and_what_was_found() -> None:
    text = whole(TANK)
    for words in ("T-10007", "14 × 47 in", "SBA1-S", "site Hall 2", "2026-03-02", "Why: The first water is yellow.", "“rinse water”", "in bay Q1"):  # fmt: skip
        assert words in text, words
    assert TANK.findings[0] in refusal_letter(TANK).findings


def test_it_asks_for_the_history_the_other_tanks_and_where_it_may_go() -> None:
    asks = refusal_letter(TANK).asks
    assert (
        len(asks) == 3
        and "ran through it" in asks[0]
        and "other tanks" in asks[1]
        and "in writing" in asks[2]
    )


def test_of_a_tank_that_left_it_asks_no_way_and_claims_no_place() -> None:
    text = whole(replace(TANK, left_on="2026-03-09"))
    assert "left us on 2026-03-09" in text and "collect it" not in text and "bay Q1" not in text


def test_what_is_not_known_is_not_written() -> None:
    text = whole(replace(TANK, site="", declared_service="", stands_at="", findings=()))
    assert "site" not in text and "declared" not in text and "bay" not in text


def test_it_warns_and_defers_to_data_sheet_and_authority() -> None:
    text = whole(TANK)
    assert "do not open, drain, rinse, heat or acidify" in text
    assert "safety data sheets" in text and "Ask your authority" in text


def test_of_a_tank_with_metals_it_gives_the_refusal_of_its_drain() -> None:
    """The very sentence that keeps the drain from the waste tank."""
    words = refusal("D", Drained.REGENERANT, Destination.NEUTRALIZATION, has_metal_flag=True)
    letter = refusal_letter(replace(TANK, drain_refusal=words))
    assert words in letter.findings[-1] and "Metals never enter the waste tank" in words
    assert len(letter.findings) == len(refusal_letter(TANK).findings) + 1
