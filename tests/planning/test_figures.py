"""The plant's own figures for planning: recorded with a reason, refused where no plant has such, in force from the next plan on."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.planning import services
from regenplant.planning.figures import DEFAULTS, WorkingTime
from regenplant.planning.figures_kept import figures_from, figures_in_force, figures_to
from regenplant.planning.models import PlanningSettings
from regenplant.planning.working_times import lines_of, times_of
from tests import factories

WHY = "We work on Saturdays from now on."


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def test_figures_are_read_as_they_were_kept() -> None:
    assert figures_from(figures_to(DEFAULTS)) == DEFAULTS
    figures = replace(DEFAULTS, look_over_min=45)
    assert figures_from(figures_to(figures)) == figures
    older = {name: value for name, value in figures_to(figures).items() if name != "look_over_min"}
    assert figures_from(older) == DEFAULTS, "a recording of an older program"


def test_lines_are_read_as_they_were_written() -> None:
    assert times_of(lines_of(DEFAULTS.working_times)) == DEFAULTS.working_times
    (night,) = times_of("night 22:00-06:00 Mon, Wed-Fri, Sun operators 1")
    assert night == WorkingTime("night", 1320, 360, 1, 0, 0, weekdays=(0, 2, 3, 4, 6))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("early 6 to 14", "Line 1 is not understood"),
        ("\nearly 06:00-14:00 Mon-Fri", "Line 2 is not understood"),
        ("early 06:00-25:00 Mon-Fri operators 2", "no time of day"),
        ("early 06:00-14:00 Fri-Mon operators 2", "are not understood"),
        ("early 06:00-14:00 Monday-Someday operators 2", "no day of the week"),
    ],
)
def test_a_line_that_is_not_understood_is_named(text: str, words: str) -> None:
    with pytest.raises(RecordRefused, match=words):
        times_of(text)


@pytest.mark.parametrize("role", ["planner", "supervisor"])
def test_they_are_recorded_with_a_reason_and_hold_from_then_on(
    plant: factories.SmallPlant, role: str
) -> None:
    assert figures_in_force() == DEFAULTS
    figures = replace(DEFAULTS, days=5)
    services.record_figures(by=plant.by(role), figures=figures, reason=WHY, seen_number=0)
    assert figures_in_force() == figures
    with pytest.raises(StaleRecord):
        services.record_figures(by=plant.by(role), figures=DEFAULTS, reason=WHY, seen_number=0)
    with pytest.raises(RecordRefused, match="Nothing differs"):
        services.record_figures(by=plant.by(role), figures=figures, reason=WHY, seen_number=1)


@pytest.mark.parametrize(
    ("changed", "reason", "kind"),
    [
        ({"days": 0}, WHY, OutOfRange),
        ({"days": 22}, WHY, OutOfRange),
        ({"look_over_min": -1}, WHY, OutOfRange),
        ({"look_over_min": 1441}, WHY, OutOfRange),
        ({"working_times": ()}, WHY, OutOfRange),
        ({"working_times": (WorkingTime("none", 60, 60, 1, 0, 0),)}, WHY, OutOfRange),
        ({"working_times": (WorkingTime("crowd", 60, 120, 51, 0, 0),)}, WHY, OutOfRange),
        ({"changeovers": replace(DEFAULTS.changeovers, other_resin_min=-5)}, WHY, OutOfRange),
        ({"worth": replace(DEFAULTS.worth, batch=-1.0)}, WHY, OutOfRange),
        ({"worth": replace(DEFAULTS.worth, batch=float("nan"))}, WHY, OutOfRange),
        ({"days": 5}, "so", RecordRefused),
    ],
)
def test_what_no_plant_has_is_refused(
    plant: factories.SmallPlant, changed: dict[str, object], reason: str, kind: type[DomainError]
) -> None:
    with pytest.raises(kind):
        services.record_figures(
            by=plant.by("planner"),
            figures=replace(DEFAULTS, **changed),  # type: ignore[arg-type]
            reason=reason,
        )
    assert not PlanningSettings.objects.exists()


def test_an_operator_sets_none(plant: factories.SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        services.record_figures(by=plant.by("operator"), figures=replace(DEFAULTS, days=5), reason=WHY)
