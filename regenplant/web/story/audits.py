"""The audit of use in the story: what chemicals cost, and a report of last week that a supervisor signed."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from regenplant.plant.selectors import plant_day
from regenplant.use import services as use
from regenplant.use.report_content import mark_of, report_content
from regenplant.use.selectors import By, Question
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

PRICES = (("hcl", "0.31"), ("naoh", "0.52"), ("nacl", "0.11"))
"""Invented, per kg of product in an invented plant's books."""
BUYER, SUPERVISOR = "wend", "osk"
REMARKS = "Salt stays under its plan since the level gauge of the brine tank is read by two people. No other difference to follow."


def put_up_prices(stage: Stage, at: datetime) -> None:
    """Prices that hold from the beginning of the year before, so that every delivery of the story has one."""
    for chemical, price in PRICES:
        use.enter_price(
            by=stage.by(BUYER, at),
            chemical=chemical,
            price=price,
            currency="EUR",
            basis="product",
            from_day=date(at.year - 1, 1, 1),
            reason="contract of the year before (invented)",
        )


def put_up_levels(stage: Stage, at: datetime) -> None:
    """One watch level of the plant's own; the others stay the usual ones."""
    use.record_measure_level(
        by=stage.by(SUPERVISOR, at), measure="late", level=8.0, reason="The meters of the hall write late while the network is built anew."
    )  # fmt: skip


def audited(stage: Stage, at: datetime) -> Script:
    """A supervisor looks through the seven days before and signs what they say, by vessel."""
    yield at
    last = plant_day(at) - timedelta(days=1)
    question = Question(last - timedelta(days=6), last, By.VESSEL)
    use.sign_report(
        by=stage.by(SUPERVISOR, at),
        question=question,
        shown=mark_of(report_content(question)),
        permit=stage.permit(SUPERVISOR, use.REPORT_MEANING, at),
        remarks=REMARKS,
    )
