"""Geometry facts of the drawings, their words, and that nothing a person wrote gets out of its quotes.

Outside sources: WCAG and SVG say nothing about where a pointer stands, so positions are checked against hand
calculation written in the test; the curve is checked against SciPy's ``PchipInterpolator``, an independent
implementation of the same published method.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant import units
from regenplant.drawing.curves import crossing, monotone_curve
from regenplant.drawing.rinse import ForecastPoint, RinseDown, RinseReading, rinse_chart
from regenplant.drawing.scales import Axis, clock_ticks, minute_ticks, seconds_between, tick_text
from regenplant.drawing.scene import Curve, Dot, Frame, Label, Length, Line, Rect, Scene, Shape, px, share
from regenplant.resins.models import ResinLot
from regenplant.resins.selectors import Ancestry, Relative
from regenplant.web.drawing.ancestry import ancestry_scene
from regenplant.web.drawing.dots import BatchDose, dots_on_plan
from regenplant.web.drawing.lanes import Lane, LaneBar, vessel_lanes
from regenplant.web.drawing.limit_bar import Limits, Standing, limit_bar, limit_text
from regenplant.web.drawing.step_ruler import RulerStep, step_ruler

EVIL = '<script>alert("x")</script>'
NO_BREAK = units.NO_BREAK_SPACE


def pointer(scene: Scene) -> Shape:
    """The head of the pointer: the last shape of a limit bar."""
    return [item for item in scene.items if isinstance(item, Shape)][-1]


def labels(scene: Scene) -> list[str]:
    return [item.text for item in scene.items if isinstance(item, Label)]


# --- lengths and scenes ---------------------------------------------------------------------------------------------
def test_a_length_is_a_share_or_pixels_never_both():
    with pytest.raises(ValueError, match="not both"):
        Length(of=0.5, px=3)


def test_a_length_stands_at_its_share_of_any_extent():
    assert share(0.25).at(400) == 100
    assert px(12).at(400) == 12
    assert (share(1 / 3).svg(), px(16).svg(), share(0).svg()) == ("33.33%", "16", "0")


def test_a_scene_is_an_image_with_its_sentence_and_no_style():
    svg = Scene("Flow: 66 L/min.", 58, (Line("ax", px(0), px(32), share(1), px(32)),)).to_svg()
    assert svg.startswith('<svg class="draw" height="58" role="img" aria-label="Flow: 66 L/min.">')
    assert "style=" not in svg
    assert "viewBox" not in svg


def test_only_a_curve_is_stretched():
    svg = Scene("x", 100, (Curve("ln", ((0, 1), (1, 0))), Dot("pt", share(1), share(0), 5))).to_svg()
    assert svg.count("viewBox") == 1
    assert 'd="M0.0 1000.0 1000.0 0.0"' in svg
    assert '<circle class="pt" cx="100%" cy="0" r="5"/>' in svg


def test_every_text_of_a_scene_is_escaped():
    inside = (Label(EVIL, px(0), px(0), EVIL), Rect(EVIL, px(0), px(0), px(1), px(1)))
    svg = Scene(EVIL, 10, (Frame(px(0), px(0), share(1), px(9), inside),), role=EVIL).to_svg()
    assert "<script>" not in svg
    assert svg.count("&lt;script&gt;") == 5


# --- scales ---------------------------------------------------------------------------------------------------------
def test_the_geometric_mean_is_the_middle_of_a_log_axis():
    assert Axis(0.01, 100, is_log=True).share(1.0) == pytest.approx(0.5)
    assert Axis(2, 8).share(5) == pytest.approx(0.5)


@pytest.mark.parametrize("axis", [Axis(0.03, 200, is_log=True), Axis(-2, 8)])
def test_very_many_values_stand_where_each_of_them_does(axis: Axis):
    values = [-3.0, 0.0, 0.03, 0.5, 7.0, 199.9, 4000.0]
    assert axis.shares(values) == [axis.share(value) for value in values]


def test_a_log_axis_starts_above_zero_and_an_axis_runs_upward():
    with pytest.raises(ValueError, match="above zero"):
        Axis(0, 10, is_log=True)
    with pytest.raises(ValueError, match="upward"):
        Axis(10, 10)


def test_a_value_of_nought_stands_at_the_low_end_of_a_log_axis():
    assert Axis(0.1, 10, is_log=True).clamped(0.0) == 0.0


def test_ticks_are_decades_on_a_log_axis_and_round_steps_on_an_even_one():
    assert Axis(0.01, 20, is_log=True).ticks() == pytest.approx((0.01, 0.1, 1, 10))
    assert Axis(4, 16).ticks() == pytest.approx((4, 6, 8, 10, 12, 14, 16))
    assert 20.0 in Axis(0.01, 20, is_log=True).minor_ticks()


def test_clock_ticks_stand_on_whole_steps_of_the_clock():
    ticks = clock_ticks(datetime(2026, 3, 11, 13, 27, tzinfo=UTC), 3600)
    assert [text for _, text in ticks] == ["13:30", "13:40", "13:50", "14:00", "14:10", "14:20"]
    assert ticks[0][0] == 180


def test_clock_ticks_are_right_in_the_night_when_summer_time_begins():
    # in this zone the clock goes from 02:00 to 03:00 on 2026-03-29: two hours after 01:00 it is 04:00
    start = datetime(2026, 3, 29, 1, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    assert [text for _, text in clock_ticks(start, 2 * 3600, 2)] == ["01:00", "03:00", "04:00"]
    assert seconds_between(start, start.replace(hour=4)) == 7200


def test_minute_ticks_stay_in_their_window():
    assert minute_ticks(660, 1800, 4) == ((900, "15"), (1200, "20"), (1500, "25"), (1800, "30"))


def test_tick_numbers_carry_no_idle_zeros():
    assert [tick_text(v) for v in (4.0, 0.05, 10.0, 1850.0)] == ["4", "0.05", "10", f"1{units.THIN_SPACE}850"]


# --- the limit bar --------------------------------------------------------------------------------------------------
def strength(value_frac: float | None, **more: object):
    return limit_bar(caption="Strength", value=value_frac, kind="strength", low=0.04, high=0.06, **more)  # type: ignore[arg-type]


def test_the_allowed_span_is_the_middle_third_and_the_rest_is_hatched():
    scene = strength(0.05).scene
    rects = {item.role: item for item in scene.items if isinstance(item, Rect) and item.role == "ok"}
    assert rects["ok"].x.of == pytest.approx(1 / 3)
    assert rects["ok"].width.of == pytest.approx(1 / 3)
    hatched = [item for item in scene.items if isinstance(item, Rect) and item.role == "forbid"]
    assert sum(item.width.of for item in hatched) == pytest.approx(2 / 3)


def test_the_pointer_stands_where_the_value_is_on_the_scale():
    # scale 2 to 8 %, value 5.1 %: (5.1 - 2) / 6
    assert pointer(strength(0.051).scene).x.of == pytest.approx(3.1 / 6)


@pytest.mark.parametrize(
    ("value", "standing", "words", "tone"),
    [
        (0.051, Standing.WITHIN, "within", ""),
        (0.036, Standing.BELOW, "0.4 below the limit", "low"),
        (0.061, Standing.ABOVE, "0.1 above the limit", "low"),
        (0.0595, Standing.NEAR, "0.05 from the limit", "near"),
        (0.06, Standing.NEAR, "at the limit", "near"),
        (None, Standing.UNWRITTEN, "not written", ""),
    ],
)
def test_the_verdict_says_how_far(value, standing, words, tone):
    bar = strength(value)
    assert (bar.standing, bar.verdict, bar.tone) == (standing, words, tone)


def test_a_difference_too_small_for_the_digits_is_still_said():
    # a hundred-thousandth of a degree: shown as 49.0 of 49.0, yet outside
    bar = limit_bar(caption="T", value=322.15 + 1e-5, kind="temperature", low=308.15, high=322.15)
    assert bar.value_text == "49.0"
    assert bar.verdict == "just above the limit"
    assert bar.tone == "low"


def test_a_value_beyond_the_scale_stands_at_its_end_and_the_words_say_so():
    bar = strength(0.20)
    assert bar.is_off_scale
    assert pointer(bar.scene).x.of == 1.0
    assert bar.verdict == "14 above the limit: off scale"
    assert "off scale" in bar.scene.label


def test_outside_is_red_not_yet_is_hollow_within_is_ink():
    assert pointer(strength(0.036).scene).role == "redf"
    assert pointer(strength(0.05).scene).role == "inkf"
    wanted = limit_bar(caption="R", value=8.42e4, kind="resistivity", low=1e5, expects="reach")
    assert (pointer(wanted.scene).role, wanted.verdict) == ("hollow", "not yet")


def test_a_wanted_value_that_is_a_little_short_does_not_show_the_limit():
    held = limit_bar(caption="Held", value=872.0, kind="duration", low=900.0, expects="reach")
    assert (held.value_text, held.verdict) == ("14.5", "not yet") and "14.5 min, not yet" in held.scene.label


def test_a_wanted_value_is_met_at_the_limit_and_never_near_it():
    met = limit_bar(caption="Rinsed", value=10.0, kind="bed_volumes", low=10, expects="reach")
    assert (met.standing, met.verdict) == (Standing.MET, "met")


def test_too_much_of_a_wanted_span_is_still_above():
    assert Limits(low=4, high=6).standing(7, "reach") is Standing.ABOVE


def test_resistivity_takes_a_log_axis_with_two_decades_under_the_limit():
    # 10 MOhm cm on 0.1 to 18.3: log(100) / log(183)
    bar = limit_bar(caption="R", value=1e3, kind="resistivity", low=1e5, expects="reach")
    assert pointer(bar.scene).x.of == 0.0
    allowed = next(item for item in bar.scene.items if isinstance(item, Rect) and item.role == "ok")
    assert allowed.x.of == pytest.approx(0.88400, abs=1e-4)


def test_an_open_side_grows_with_the_value_so_that_more_than_enough_is_on_the_scale():
    bar = limit_bar(caption="Rinsed", value=25.0, kind="bed_volumes", low=10, expects="reach")
    assert not bar.is_off_scale
    assert 0 < pointer(bar.scene).x.of < 1


def test_both_unit_systems_stand_at_the_same_place():
    metric = limit_bar(caption="T", value=311.15, kind="temperature", low=308.15, high=322.15)
    us = limit_bar(caption="T", value=311.15, kind="temperature", low=308.15, high=322.15, system="us")
    assert (metric.value_text, us.value_text, us.unit) == ("38.0", "100", "°F")
    assert pointer(metric.scene).x.of == pytest.approx(pointer(us.scene).x.of)
    assert metric.other == f"100{NO_BREAK}°F"


def test_the_limits_carry_their_numbers_and_turn_inward_at_the_ends():
    bar = limit_bar(caption="L", value=5, low=0.0, high=100.0, scale_low=0.0, scale_high=100.0)
    texts = [item for item in bar.scene.items if isinstance(item, Label)]
    assert [(item.text, item.anchor) for item in texts] == [("0", "start"), ("100", "end")]


def test_narrow_limits_keep_their_numbers_apart():
    bar = limit_bar(caption="L", value=5.0, low=4.9, high=5.1, scale_low=0.0, scale_high=10.0)
    assert [item.anchor for item in bar.scene.items if isinstance(item, Label)] == ["end", "start"]


def test_limits_in_the_wrong_order_are_a_defect():
    with pytest.raises(ValueError, match="above the high limit"):
        limit_bar(caption="L", value=5, low=6, high=4)


def test_own_words_replace_the_verdict_but_not_the_colour_of_outside():
    assert limit_bar(caption="V", value=1.0, low=0.0, high=1.0, verdict="fits C1").tone == ""
    assert limit_bar(caption="V", value=1.2, low=0.0, high=1.0, verdict="too much for C1").tone == "low"


def test_limits_in_words():
    assert limit_text(0.001, 0.073 / 60, kind="flow") == f"60 to 73{NO_BREAK}L/min"
    assert limit_text(1e5, None, kind="resistivity") == f"at least 10{NO_BREAK}MΩ·cm"
    assert limit_text(None, 0.001, kind="concentration") == f"at most 1{NO_BREAK}mg/L"
    assert limit_text(None, None, kind="flow") == ""


@given(
    value=st.floats(-1e6, 1e6),
    low=st.one_of(st.none(), st.floats(-1e4, 1e4)),
    width=st.floats(0, 1e4),
    has_high=st.booleans(),
    scale=st.sampled_from(["", "even", "log"]),
    expects=st.sampled_from(["keep", "reach"]),
)
def test_whatever_the_numbers_the_pointer_stays_in_the_drawing(value, low, width, has_high, scale, expects):
    high = (low or 0.0) + width if has_high else None
    bar = limit_bar(caption="x", value=value, low=low, high=high, scale=scale, expects=expects)
    assert 0.0 <= pointer(bar.scene).x.of <= 1.0
    assert bar.is_off_scale == ("off scale" in bar.verdict)
    if bar.is_off_scale:
        assert pointer(bar.scene).x.of in (0.0, 1.0)


@given(value=st.floats(0.0, 1.0), other=st.floats(0.0, 1.0))
def test_a_larger_value_never_stands_further_left(value, other):
    places = [pointer(strength(v).scene).x.of for v in sorted((value, other))]
    assert places[0] <= places[1]


def test_a_caption_cannot_leave_its_quotes():
    svg = limit_bar(caption=EVIL, value=1.0, unit=EVIL, low=0.0).scene.to_svg()
    assert "<script>" not in svg
    assert "&lt;script&gt;" in svg


# --- the step ruler -------------------------------------------------------------------------------------------------
STEPS = [
    RulerStep("Load", 4620, "done"),
    RulerStep("Acid injection", 3000, "running", 0.64),
    RulerStep("Displacement", 1800),
]


def test_steps_are_as_long_as_their_minutes():
    widths = [
        item.width.of
        for item in step_ruler(STEPS).items
        if isinstance(item, Rect) and item.role != "bar-runf"
    ]
    assert sum(widths) == pytest.approx(1.0)
    assert widths[0] == pytest.approx(4620 / 9420)


def test_the_running_step_is_solid_to_now():
    ruler = step_ruler(STEPS)
    fill = next(item for item in ruler.items if isinstance(item, Rect) and item.role == "bar-runf")
    assert fill.width.of == pytest.approx(0.64 * 3000 / 9420)
    assert ruler.label == "Step 2 of 3: Acid injection, 64 per cent done."


def test_a_held_step_is_amber_and_progress_never_leaves_it():
    ruler = step_ruler([RulerStep("Backwash", 900, "held", 1.7), RulerStep("Settle", 900)])
    fill = next(item for item in ruler.items if isinstance(item, Rect) and item.role == "amberf")
    assert fill.width.of == pytest.approx(0.5)
    assert "held, 100 per cent done" in ruler.label


def test_no_step_disappears_and_no_plan_is_said():
    widths = [
        i.width.of
        for i in step_ruler([RulerStep("a", 1), RulerStep("b", 86400)]).items
        if isinstance(i, Rect)
    ]
    assert min(widths) > 0.01
    assert step_ruler([]).label == "No steps are planned."
    assert step_ruler([RulerStep("a", 0, "done")]).label == "All 1 steps are done."


# --- the curve ------------------------------------------------------------------------------------------------------
READ = [(3.0, 0.2), (7.0, 0.9), (11.0, 1.0), (15.0, 4.2), (23.0, 4.1), (27.0, 6.0)]


def test_the_curve_agrees_with_an_independent_implementation():
    from scipy import interpolate  # SciPy PchipInterpolator, same method

    line = monotone_curve(READ)
    expected = interpolate.PchipInterpolator(*zip(*READ, strict=True))([x for x, _ in line])
    assert [y for _, y in line] == pytest.approx(list(expected), abs=1e-12)


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=12))
def test_the_curve_passes_every_point_and_never_leaves_its_neighbours(values):
    points = [(float(n), value) for n, value in enumerate(values)]
    line = monotone_curve(points)
    assert set(points) <= {(round(x, 9), y) for x, y in line} | {(x, round(y, 9)) for x, y in line} | set(
        line
    )
    for x, y in line:
        left = min(int(x), len(values) - 2)
        low, high = sorted(values[left : left + 2])
        assert low - 1e-9 <= y <= high + 1e-9


def test_a_curve_that_runs_back_is_a_defect():
    with pytest.raises(ValueError, match="forward"):
        monotone_curve([(1, 1), (1, 2)])


def test_where_a_line_meets_a_level():
    assert crossing([(0, 8.0), (4, 12.0)], 10.0) == 2.0
    assert crossing([(0, 8.0), (4, 9.0)], 10.0) is None


# --- the rinse chart ------------------------------------------------------------------------------------------------
MOHM_CM = 1e4
START = datetime(2026, 3, 11, 13, 27, tzinfo=UTC)


def rinse(**more: object) -> RinseDown:
    values = ((3, 0.035), (11, 0.16), (19, 0.68), (27, 2.58), (35, 6.75), (38, 8.42))
    settings: dict[str, object] = {
        "title": "Rinse-down of B-10409",
        "kind": "resistivity",
        "readings": tuple(RinseReading(60.0 * m, v * MOHM_CM) for m, v in values),
        "limit": 10 * MOHM_CM,
        "hold_s": 900.0,
        "started_at": START,
        "now_s": 38 * 60.0,
    }
    return RinseDown(**(settings | more))  # type: ignore[arg-type]


def forecast() -> tuple[ForecastPoint, ...]:
    return tuple(
        ForecastPoint(
            60.0 * (38 + m), (8.42 + m) * MOHM_CM, (8.42 + 0.5 * m) * MOHM_CM, (8.42 + 2 * m) * MOHM_CM
        )
        for m in range(6)
    )


def dots(scene: Scene) -> list[Dot]:
    return [item for item in scene.items if isinstance(item, Dot)]


def test_every_reading_is_a_ring_and_the_last_one_a_disc():
    found = dots(rinse_chart(rinse()).whole)
    assert len(found) == 6
    assert [dot.role for dot in found[-2:]] == ["pt", "pt last"]
    assert all(0 <= dot.x.of <= 1 and 0 <= dot.y.of <= 1 for dot in found)


def test_the_limit_line_stands_at_its_place_on_the_log_axis():
    # axis 0.01 to 20: 10 stands log(2) / log(2000) from the top
    lines = [
        item for item in rinse_chart(rinse()).whole.items if isinstance(item, Line) and item.role == "lim"
    ]
    assert lines[0].y1.of == pytest.approx(0.0911925, abs=1e-6)


@pytest.mark.parametrize(("is_at_least", "top"), [(True, 0.0), (False, -14.0)])
def test_the_failing_side_is_hatched(is_at_least, top):
    chart = rinse_chart(rinse(is_at_least=is_at_least))
    frame = next(item for item in chart.whole.items if isinstance(item, Frame))
    hatch = frame.items[0]
    assert isinstance(hatch, Rect)
    assert (hatch.role, hatch.y.px) == ("forbid", top)


def test_the_close_view_shows_the_part_that_decides():
    near = rinse_chart(rinse()).near
    assert near is not None
    assert [round(1 - dot.y.of, 3) for dot in dots(near)] == [
        round((6.75 - 4) / 12, 3),
        round((8.42 - 4) / 12, 3),
    ]


def test_there_is_no_close_view_while_nothing_is_near():
    early = rinse(readings=(RinseReading(180, 0.035 * MOHM_CM),))
    assert rinse_chart(early).near is None
    assert rinse_chart(rinse(limit=None)).near is None


def test_the_sentence_says_from_what_to_what_and_the_limit():
    label = rinse_chart(rinse()).whole.label
    assert f"8.42{NO_BREAK}MΩ·cm at 14:05, from 0.035{NO_BREAK}MΩ·cm at 13:30" in label
    assert "Limit at least 10." in label


def test_the_forecast_is_a_sentence_and_a_band_but_no_verdict():
    # 8.42 + m meets 10 at m = 1.58 (14:06), the upper edge at 0.79 (14:05), the lower at 3.16 (14:08)
    chart = rinse_chart(rinse(forecast=forecast()))
    assert "Forecast to pass at 14:06, between 14:05 and 14:08, then hold 15 minutes." in chart.whole.label
    assert sum(item.role == "band" for item in chart.whole.items if isinstance(item, Curve)) == 1
    assert "good" not in chart.whole.to_svg()


def test_a_forecast_that_never_passes_says_so():
    flat = tuple(ForecastPoint(60.0 * m, 9 * MOHM_CM, 8 * MOHM_CM, 9.5 * MOHM_CM) for m in (38, 60))
    assert "The forecast does not reach the limit." in rinse_chart(rinse(forecast=flat)).whole.label


def test_the_table_says_the_same_newest_first():
    rows = rinse_chart(rinse()).rows
    assert (rows[0].at, rows[0].value, rows[0].other) == ("14:05", "8.42", f"0.119{NO_BREAK}µS/cm")
    assert rows[-1].at == "13:30"


def test_a_rinse_without_a_reading_or_a_clock_is_drawn():
    chart = rinse_chart(RinseDown("Rinse-down of B-1", "conductivity", (), 0.015, False))
    assert "No reading is written yet. Limit at most 150." in chart.whole.label
    assert "no reading is written yet" in labels(chart.whole)
    assert chart.caption.endswith("minutes since the rinse began")


def test_a_reading_of_nought_and_two_at_one_moment_are_drawn():
    twice = (RinseReading(60, 0.0), RinseReading(60, MOHM_CM), RinseReading(120, 2 * MOHM_CM))
    assert len(dots(rinse_chart(rinse(readings=twice)).whole)) == 3


def test_the_hold_window_is_as_long_as_the_hold():
    chart = rinse_chart(rinse(held_from_s=38 * 60.0))
    bracket = [
        item
        for item in chart.whole.items
        if isinstance(item, Frame) and item.y.px == 0 and len(item.items) > 1
    ]
    # the axis ends at the first five minutes after (38 + 15) min x 1.05 = 55.7 min, which is 60 min
    assert bracket[0].x.of == pytest.approx(38 / 60)
    assert bracket[0].width.of == pytest.approx(15 / 60)


def test_a_title_cannot_leave_its_quotes():
    assert "<script>" not in rinse_chart(rinse(title=EVIL)).whole.to_svg()


# --- dots on plan, vessel lanes -------------------------------------------------------------------------------------
def test_an_outlier_is_named_with_its_sign_and_the_rest_is_not():
    scene = dots_on_plan([BatchDose("B-1", 120, 121), BatchDose("B-2", 120, 131)], title="Acid")
    assert f"B-2 +9.2{NO_BREAK}%" in labels(scene)
    assert not [text for text in labels(scene) if text.startswith("B-1 ")]
    assert scene.label == f"Acid: 2 batches, 1 within ±5 % of plan. Outside: B-2 +9.2{NO_BREAK}%."


def test_on_the_edge_of_the_band_is_inside_it():
    assert (
        dots_on_plan([BatchDose("B-1", 100, 105)], title="Acid").label
        == "Acid: 1 batch, all within ±5 % of plan."
    )


def test_dots_need_a_plan_and_no_batch_is_said():
    with pytest.raises(ValueError, match="above zero"):
        dots_on_plan([BatchDose("B-1", 0, 1)], title="Acid")
    assert dots_on_plan([], title="Acid").label == "Acid: no batch yet."


def test_lanes_cut_at_the_edges_and_show_progress():
    morning = datetime(2026, 3, 11, 6, tzinfo=UTC)
    stay = LaneBar(morning - timedelta(hours=2), morning + timedelta(hours=4), "running", EVIL)
    scene = vessel_lanes(
        [Lane("C1", (stay,))],
        start=morning,
        end=morning + timedelta(hours=16),
        now=morning + timedelta(hours=2),
    )
    bar = next(item for item in scene.items if isinstance(item, Rect) and item.role == "bar-run")
    progress = next(item for item in scene.items if isinstance(item, Rect) and item.role == "inkf")
    assert (bar.x.of, bar.width.of, progress.width.of) == (0.0, 0.25, 0.125)
    assert "<script>" not in scene.to_svg()


def test_a_stay_outside_the_window_is_not_drawn():
    morning = datetime(2026, 3, 11, 6, tzinfo=UTC)
    past = LaneBar(morning - timedelta(hours=5), morning - timedelta(hours=1), "done", "B-1")
    scene = vessel_lanes([Lane("C1", (past,))], start=morning, end=morning + timedelta(hours=16))
    assert not [item for item in scene.items if isinstance(item, Rect)]


# --- ancestry -------------------------------------------------------------------------------------------------------
def _line(code: str, *, came=(), went=()) -> Ancestry:
    return Ancestry(
        ResinLot(code=code),
        tuple(Relative(ResinLot(code=name), 1, share, share) for name, share in came),
        tuple(Relative(ResinLot(code=name), 1, share, share) for name, share in went),
        0.0,
    )


def test_ancestry_says_in_words_what_it_draws_and_bands_are_as_wide_as_the_shares():
    scene = ancestry_scene(_line("L-3", came=(("L-1", 0.75), ("L-2", 0.25)), went=(("L-9", 1.0),)))
    svg = str(scene.to_svg())
    assert "Lot L-3 came from 75\xa0% L-1, 25\xa0% L-2; it went to L-9." in svg
    bands = [item for item in scene.items if isinstance(item, Rect) and item.role == "flow"]
    assert [round(band.width.of / 0.24, 6) for band in bands] == [0.75, 0.25, 1.0]


def test_ancestry_escapes_lot_codes():
    svg = str(ancestry_scene(_line(EVIL, came=((EVIL, 1.0),))).to_svg())
    assert "<script" not in svg


def test_a_value_that_is_met_stands_on_the_scale_of_a_log_axis():
    bar = limit_bar(caption="R", value=2e4, kind="resistivity", low=1e4, expects="reach")
    assert not bar.is_off_scale and "off scale" not in bar.verdict, "2 of at least 1 MΩ·cm"
