"""The drawing of a plan over the hours."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from regenplant.core.scheduling.loads import Load, LoadKind
from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import Part, PartKind, Stay, StayKind
from regenplant.drawing.day_plan import PlanDrawing, day_plan_scene, names_scene
from regenplant.drawing.scene import Frame, Item, Label, Link, Rect, Scene


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


def test_names_and_captions_that_stay_in_sight_stand_at_the_height_of_those_they_repeat() -> None:
    load = Load(LoadKind.SKID, "hcl", ((360, 0.0), (600, 1.0)), ((360, 1.0),), False)
    lanes = tuple((name, (stay(600, 800),)) for name in ("C1", "C2"))
    plan = PlanDrawing(ZERO, DAY, None, lanes, (("Acid skid: peak 1, limit 1", load), ("Second", load)))

    def words(scene: Scene) -> list[tuple[str, float]]:
        kept = [
            one for one in scene.items if isinstance(one, Label) and {"lane-n", "cap"} & set(one.role.split())
        ]
        return [(one.text, one.y.px) for one in kept]

    whole, staying = day_plan_scene(plan), names_scene(plan)
    assert words(staying) == words(whole)
    assert [text for text, _ in words(staying)] == ["C1", "C2", "Acid skid: peak 1, limit 1", "Second"]
    assert staying.height == whole.height


ZERO = datetime(2026, 3, 2, tzinfo=UTC)
DAY = Window(6 * 60, 22 * 60)


def drawn(*row: Stay, links: dict[str, tuple[str, str]] | None = None) -> tuple[Item, ...]:
    scene = day_plan_scene(PlanDrawing(ZERO, DAY, None, (("C1", row),), (), links=links or {}))
    return tuple(one for item in scene.items for one in (item.items if isinstance(item, Link) else (item,)))


def names(*row: Stay) -> list[tuple[str, float]]:
    """Names of batches, and where each begins as a share of the hours."""
    return [(one.text, one.x.of) for one in drawn(*row) if isinstance(one, Label) and one.text[:2] == "PB"]


def stay(start: int, end: int, name: str = "PB-1001") -> Stay:
    return Stay(StayKind.PLANNED, start, end, name, 8, 2)


def test_a_long_bar_holds_its_name_its_tanks_and_what_is_late() -> None:
    assert names(stay(360, 840)) == [("PB-1001 · 8, 2 late", 0.0)]


def test_the_name_of_a_short_bar_stands_behind_it_where_there_is_room() -> None:
    assert names(stay(360, 420)) == [("PB-1001 · 8, 2 late", pytest.approx(60 / 960))]


def test_where_there_is_no_room_a_name_is_shorter_or_left_to_the_table_and_never_cut() -> None:
    """A bar of 110 min has 93 of 820 pixels, room for a code and not for more; one of 30 min has room for nothing."""
    assert names(stay(360, 470), stay(470, 480, "")) == [("PB-1001", 0.0)]
    assert names(stay(360, 390), stay(390, 400, "")) == []


def test_a_bar_is_reached_by_keyboard_and_says_what_it_is() -> None:
    running = Stay(StayKind.RUNNING, 0, 600, "B-7", 8)
    plan = PlanDrawing(ZERO, DAY, None, (("C1", (running,)),), (), links={"B-7": ("/batches/B-7/", "B-7")})
    (link,) = (item for item in day_plan_scene(plan).items if isinstance(item, Link))
    assert "tabindex" not in link.svg()
    assert link.label == "B-7: 8 tanks, under way, has its vessel until 03-02 10:00"


def test_a_clean_down_and_a_bed_that_waits_are_drawn_in_patterns_of_their_own() -> None:
    parts = (Part("load", PartKind.HANDS, 480, 540), Part("wait", PartKind.WAIT, 540, 600))
    items = drawn(
        Stay(StayKind.CLEANING, 400, 460, "B0001"), Stay(StayKind.PLANNED, 480, 600, "B0001", 3, parts=parts)
    )
    inside = [one for item in items if isinstance(item, Frame) for one in item.items if isinstance(one, Rect)]
    roles = [item.role for item in items if isinstance(item, Rect)]
    assert "bar-clean" in roles
    assert [one.role for one in inside] == ["inkf", "bar-wait"]
