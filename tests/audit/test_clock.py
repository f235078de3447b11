"""The server's clock: a step is recorded, a clock set back is seen, and no clock ever changes the order of acts."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from regenplant.audit import clock, limits
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.selectors import story
from regenplant.audit.verifying import registry
from regenplant.people.models import Person
from regenplant.people.services import set_preferences
from tests import factories

Make = Callable[..., By]


@pytest.fixture(autouse=True)
def settled_clock() -> Iterator[None]:
    before = list(clock._settled)
    yield
    clock._settled[:] = before


@pytest.fixture
def own_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    own = limits.RecordLimits(late_after_s=7200.0, clock_step_s=600.0)
    monkeypatch.setattr(limits, "_where", [lambda: own])


def newest() -> dict[str, object]:
    event = AuditEvent.objects.order_by("-number").first()
    assert event is not None
    return dict(json.loads(event.payload))


def acted(by: By) -> None:
    set_preferences(by=by, unit_system="us", theme="dark")


@pytest.mark.requirement("ER-26")
@pytest.mark.parametrize(("step_s", "words"), [(3600.0, "forward by 3600 s"), (-90.0, "back by 90 s")])
def test_a_clock_that_was_set_is_recorded_and_named(
    step_s: float, words: str, operator: Person, by: Make
) -> None:
    clock._settled[:] = [clock.offset_s() - step_s]
    acted(by(operator))
    facts = newest()["server_clock"]
    assert isinstance(facts, dict) and facts["step_s"] == pytest.approx(step_s, abs=1.0)
    report = registry.run()
    assert report.holds
    assert any(words in notice.sentence for notice in report.notices)


@pytest.mark.requirement("ER-26")
def test_a_time_before_that_of_the_act_before_is_recorded_and_named(operator: Person, by: Make) -> None:
    acted(by(operator))
    acted(by(operator, at=factories.START - timedelta(minutes=10)))
    assert newest()["server_clock"] == {"behind_s": 600.0}
    report = registry.run()
    assert report.holds
    (notice,) = report.notices
    assert notice.sentence.startswith(
        "One event bears a time more than 60 s before that of the event before it: "
    )
    assert "(600 s)" in notice.sentence


def test_small_differences_are_nobodys_business(operator: Person, by: Make) -> None:
    clock._settled[:] = [clock.offset_s() - 5.0]
    acted(by(operator, at=factories.START - timedelta(seconds=20)))
    assert "server_clock" not in newest()
    assert registry.run().notices == ()


@pytest.mark.requirement("ER-26")
def test_the_limits_are_the_plants_own(own_limits: None, operator: Person, by: Make) -> None:
    acted(by(operator, at=factories.START - timedelta(minutes=9)))
    assert "server_clock" not in newest()
    acted(by(operator, at=factories.START - timedelta(minutes=20)))
    assert newest()["server_clock"] == {"behind_s": 660.0}


@pytest.mark.requirement("ER-26")
def test_the_order_of_acts_survives_the_end_of_summer_time(operator: Person, by: Make) -> None:
    """In Berlin 02:30 came twice on 2026-10-25; acts are an hour apart and stand in their order."""
    zone = ZoneInfo("Europe/Berlin")
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    for hours in (0, 1):
        acted(by(operator, at=(first + timedelta(hours=hours)).astimezone(zone)))
    lines = story([("person", str(operator.pk))])[-2:]
    assert [line.at for line in lines] == [first, first + timedelta(hours=1)]
    assert [f"{line.at.astimezone(zone):%H:%M}" for line in lines] == ["02:30", "02:30"]
    assert [json.loads(e.payload)["at"] for e in AuditEvent.objects.order_by("number")][-2:] == [
        "2026-10-25T00:30:00+00:00",
        "2026-10-25T01:30:00+00:00",
    ]
    assert registry.run().notices == ()


# --- late entries -----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-12")
def test_an_act_keeps_how_late_it_was_and_by_which_limit(operator: Person, by: Make) -> None:
    acted(by(operator, occurred_at=factories.START - timedelta(minutes=14)))
    assert not story([("person", str(operator.pk))])[-1].is_late
    acted(by(operator, occurred_at=factories.START - timedelta(minutes=20)))
    assert newest()["late"] == {"after_s": 1200.0, "limit_s": 900.0}
    assert story([("person", str(operator.pk))])[-1].is_late


@pytest.mark.requirement("ER-12")
def test_a_later_limit_changes_nothing_about_earlier_acts(
    operator: Person, by: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    acted(by(operator, occurred_at=factories.START - timedelta(minutes=20)))
    monkeypatch.setattr(limits, "_where", [lambda: limits.RecordLimits(late_after_s=7200.0)])
    acted(by(operator, occurred_at=factories.START - timedelta(minutes=20)))
    assert [line.is_late for line in story([("person", str(operator.pk))])[-2:]] == [True, False]
