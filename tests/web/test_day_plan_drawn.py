"""The drawing of a plan over the hours."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import Part, PartKind, Stay, StayKind
from regenplant.drawing.day_plan import PlanDrawing, day_plan_scene
from regenplant.drawing.scene import Frame, Rect


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (Window(1200, 1440), [("inkf", 1320, 1380)]),
        (Window(1440, 1680), [("bar-done", 1500, 1560)]),
        (Window(1200, 1680), [("inkf", 1320, 1380), ("bar-done", 1500, 1560)]),
    ],
)
def test_the_parts_of_a_bar_past_midnight_stand_at_their_hours_on_either_day(
    shown: Window, expected: list[tuple[str, int, int]]
) -> None:
    parts = (Part("load", PartKind.HANDS, 1320, 1380), Part("acid", PartKind.CHEMICAL, 1500, 1560))
    stay = Stay(StayKind.PLANNED, 1320, 1600, "B0001", 3, parts=parts)
    zero = datetime(2026, 3, 2, tzinfo=UTC)
    scene = day_plan_scene(PlanDrawing(zero, shown, None, (("C1", (stay,)),), ()))
    (bar,) = (item for item in scene.items if isinstance(item, Frame))
    length = shown.end_min - shown.start_min

    def minute(of: float) -> float:
        return shown.start_min + length * (bar.x.of + bar.width.of * of)

    strips = [item for item in bar.items if isinstance(item, Rect)]
    found = [(one.role, minute(one.x.of), minute(one.x.of + one.width.of)) for one in strips]
    assert [role for role, _, _ in found] == [role for role, _, _ in expected]
    for (_, start, end), (_, begins, ends) in zip(found, expected, strict=True):
        assert (start, end) == pytest.approx((begins, ends))
