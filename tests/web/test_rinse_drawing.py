"""The rinse chart beyond its curve: bed volumes, what is expected, what does not count, a limit in steps, a long log; and on paper."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st

from regenplant.documents.faces import PAPER
from regenplant.documents.flow import Item as PaperItem
from regenplant.documents.page import A4, Frame, Furniture, printed
from regenplant.documents.scene_on_paper import PX, scene_block
from regenplant.drawing.curves import thinned
from regenplant.drawing.rinse import (
    Across,
    Counts,
    Expected,
    ExpectedEnd,
    RinseDown,
    RinseReading,
    rinse_chart,
)
from regenplant.drawing.scene import (
    Curve,
    Dot,
    Item,
    Label,
    Line,
    Rect,
    Scene,
    Shape,
    Symbol,
    px,
    share,
)
from regenplant.drawing.scene import (
    Frame as SceneFrame,
)
from tests.documents.reading import overprinted, whole_text

US_CM = 1e-4
BV_PER_S = 8.0 / 3600.0


def reading(minutes: float, us_cm: float, **more: object) -> RinseReading:
    return RinseReading(60.0 * minutes, us_cm * US_CM, rinsed_bv=60.0 * minutes * BV_PER_S, **more)  # type: ignore[arg-type]


def anion(**more: object) -> RinseDown:
    settings: dict[str, object] = {
        "title": "Rinse-down of B-1",
        "kind": "conductivity",
        "readings": tuple(reading(m, 900 * math.exp(-m / 7) + 2) for m in (4, 8, 12, 16, 20, 24)),
        "limit": 10 * US_CM,
        "is_at_least": False,
        "hold_s": 900.0,
        "bv_per_s": BV_PER_S,
        "now_s": 26 * 60.0,
    }
    return RinseDown(**(settings | more))  # type: ignore[arg-type]


def expected(*minutes: float) -> ExpectedEnd:
    return ExpectedEnd(*(Expected(60.0 * m, 60.0 * m * BV_PER_S) for m in minutes))


def of_kind(scene: Scene, kind: type) -> list[Item]:
    return [item for item in scene.items if isinstance(item, kind)]


def texts(scene: Scene) -> list[str]:
    return [item.text.replace("\u00a0", " ") for item in scene.items if isinstance(item, Label)]


# --- across -----------------------------------------------------------------------------------------------------------
def test_over_bed_volumes_a_reading_stands_at_what_had_passed() -> None:
    chart = rinse_chart(anion(across=Across.BED_VOLUMES))
    last = of_kind(chart.whole, Dot)[-1]
    assert isinstance(last, Dot)
    # 24 min at 8 BV/h are 3.2 BV; the axis ends at the next whole bed volume after what has passed (26 min: 3.47 BV)
    assert last.x.of == pytest.approx(3.2 / 4.0)
    assert "bed volumes of rinse water" in chart.caption and "3.20 BV" in chart.whole.label.replace(
        "\u00a0", " "
    )
    now = next(item for item in of_kind(chart.whole, Line) if item.role == "now")  # type: ignore[union-attr]
    assert now.x1.of == pytest.approx(26 * 60 * BV_PER_S / 4.0)  # type: ignore[union-attr]


def test_both_axes_tell_the_same_order() -> None:
    for across in Across:
        places = [dot.x.of for dot in of_kind(rinse_chart(anion(across=across)).whole, Dot)]  # type: ignore[union-attr]
        assert places == sorted(places)


# --- what is expected -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("across", "words"), [(Across.TIME, ("34 min", "31 min to 40 min")), (Across.BED_VOLUMES, ("4.53 BV", "4.13 to 5.33 BV"))])  # fmt: skip
def test_the_end_point_is_expected_as_a_dashed_bar_on_the_limit(
    across: Across, words: tuple[str, str]
) -> None:
    chart = rinse_chart(anion(expected=expected(31, 34, 40), across=across))
    frame = next(
        item for item in of_kind(chart.whole, SceneFrame) if any(isinstance(i, Rect) and i.role == "fband" for i in item.items)  # type: ignore[union-attr]
    )  # fmt: skip
    limit = next(item for item in of_kind(chart.whole, Line) if item.role == "lim")  # type: ignore[union-attr]
    assert frame.y.of == pytest.approx(limit.y1.of)  # type: ignore[union-attr]
    assert set(words) <= set(texts(chart.whole))
    assert "Forecast to pass at" in chart.whole.label and chart.has_expected
    assert not any(item.role == "held-w" for item in of_kind(chart.whole, Rect))  # type: ignore[union-attr]  # nothing is held yet


def test_an_end_that_is_doubtful_is_called_so_in_picture_words_and_key() -> None:
    doubtful = replace(expected(31, 34, 40), is_doubtful=True)
    chart = rinse_chart(anion(expected=doubtful))
    assert "if at all, 34 min" in texts(chart.whole) and "34 min" not in texts(chart.whole)
    assert words_of_hold(chart.whole) == ["hold, if at all"]
    assert "If it passes at all, forecast at 34" in chart.whole.label
    assert chart.is_doubtful and not rinse_chart(anion(expected=expected(31, 34, 40))).is_doubtful
    key = render_to_string("components/rinse_chart.html", {"chart": chart})
    assert "end point, if it is reached at all" in key and "end point expected" not in key
    block = scene_block(chart.whole, 440.0)
    paper = whole_text(printed([PaperItem(block)], Frame(A4), Furniture("P", "Chart", "1", (), "Chart")))
    assert "if at all, 34 min" in " ".join(paper.split())


def test_a_late_end_does_not_push_the_readings_into_a_corner() -> None:
    chart = rinse_chart(anion(expected=expected(31, 34, 400)))
    last = of_kind(chart.whole, Dot)[-1]
    assert last.x.of > 0.35  # type: ignore[union-attr]
    assert "31 min to 400 min" in texts(chart.whole)


def test_a_rinse_left_alone_for_hours_keeps_its_readings_readable() -> None:
    assert of_kind(rinse_chart(anion(now_s=9 * 3600.0)).whole, Dot)[-1].x.of > 0.4  # type: ignore[union-attr]


# --- the hold window --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("across", list(Across))
def test_the_hold_window_is_tinted_once_it_has_begun(across: Across) -> None:
    chart = rinse_chart(anion(held_from_s=20 * 60.0, across=across))
    tint = next(item for item in of_kind(chart.whole, Rect) if item.role == "held-w")  # type: ignore[union-attr]
    end = 40.0 * 60.0 if across is Across.TIME else math.ceil(35 * 60 * BV_PER_S * 1.05)
    length = 900.0 if across is Across.TIME else 900.0 * BV_PER_S
    assert tint.width.of == pytest.approx(length / end, rel=1e-3)  # type: ignore[union-attr]
    assert chart.has_hold


def words_of_hold(scene: Scene) -> list[str]:
    frames = [item for item in scene.items if isinstance(item, SceneFrame)]
    inside = [item for frame in frames for item in frame.items if isinstance(item, Label)]
    return [item.text for item in inside]


def test_a_hold_that_has_not_begun_is_called_expected() -> None:
    before = rinse_chart(anion(expected=expected(31, 34, 40)))
    assert words_of_hold(before.whole) == ["expected hold"] and not before.has_hold
    begun = rinse_chart(anion(held_from_s=20 * 60.0, limit=60 * US_CM))
    assert words_of_hold(begun.whole) == ["hold"] and begun.near is not None
    assert words_of_hold(begun.near) == ["hold 15 min"]


def test_the_word_of_now_stands_on_the_side_with_room() -> None:
    """Half of a narrow drawing is wide enough for it; less is not."""
    for now_s, anchor in ((6 * 60.0, "start"), (26 * 60.0, "end")):
        whole = rinse_chart(anion(now_s=now_s)).whole
        now = next(item for item in of_kind(whole, Label) if item.text.startswith("now "))  # type: ignore[union-attr]
        assert now.anchor == anchor and (now.x.of <= 0.5) == (anchor == "start")  # type: ignore[union-attr]


def test_readings_that_pass_stay_clear_of_the_hold_bracket_and_on_the_even_chart() -> None:
    """Of pure water the readings that decide lie above the limit, at the top of both drawings."""
    mohm_cm = 1e4
    values = ((4, 0.1), (8, 1.0), (12, 7.0), (16, 12.0), (20, 16.5), (24, 17.2), (28, 17.4))
    readings = tuple(RinseReading(60.0 * m, v * mohm_cm) for m, v in values)
    chart = rinse_chart(anion(kind="resistivity", readings=readings, limit=10 * mohm_cm, is_at_least=True, held_from_s=16 * 60.0))  # fmt: skip
    assert chart.near is not None
    assert len(of_kind(chart.near, Dot)) == 5  # all from 7 on
    for scene in (chart.whole, chart.near):
        highest = min(dot.y.of for dot in of_kind(scene, Dot))  # type: ignore[union-attr]
        assert highest * 280 > 14 + 8, (
            "the bracket is 14 px high, a disc 8 px: on the smallest drawing, that of a certificate"
        )


# --- what does not count ----------------------------------------------------------------------------------------------
def test_a_reading_that_points_to_its_cell_is_a_diamond_and_in_no_curve() -> None:
    odd = reading(14, 0.05, counts=Counts.CHECK)
    plain, chart = rinse_chart(anion()), rinse_chart(anion(readings=(*anion().readings, odd)))
    marks = [item for item in of_kind(chart.whole, Shape) if item.role == "pt off"]  # type: ignore[union-attr]
    assert len(marks) == 1 and marks[0].y.of == 1.0  # type: ignore[union-attr]  # below the axis: at its end
    assert [c.points for c in of_kind(chart.whole, Curve)] == [c.points for c in of_kind(plain.whole, Curve)]  # type: ignore[union-attr]
    assert "One reading points to its instrument." in chart.whole.label
    assert chart.rows[0].note == "instrument check: not counted"


def test_what_only_informs_is_a_square_beside_the_curve() -> None:
    more = (*anion().readings[:3], reading(14, 300, counts=Counts.INFORMS), *anion().readings[3:])
    chart = rinse_chart(anion(readings=more))
    squares = [i for i in of_kind(chart.whole, Shape) if i.role == "pt" and len(i.points) == 4]  # type: ignore[union-attr]
    assert len(squares) == 1 and chart.has_informing
    assert [c.points for c in of_kind(chart.whole, Curve)] == [
        c.points for c in of_kind(rinse_chart(anion()).whole, Curve)
    ]  # type: ignore[union-attr]


# --- a limit in steps -------------------------------------------------------------------------------------------------
def test_a_limit_by_temperature_is_a_line_in_steps() -> None:
    limits = (1.1, 1.1, 1.3, 1.3, 1.4, 1.4)
    rows = tuple(reading(4 * n + 4, 30 / (n + 1), limit=v * US_CM) for n, v in enumerate(limits))
    chart = rinse_chart(anion(readings=rows, limit=None, basis="as read"))
    lines = [item for item in of_kind(chart.whole, Line) if item.role == "lim"]  # type: ignore[union-attr]
    assert len(lines) == 5  # three treads, two risers
    assert "limit by temperature, as read" in texts(chart.whole) and chart.caption.startswith("µS/cm as read")
    assert "Limit by temperature, at most 1.4 at the last reading." in chart.whole.label
    assert chart.near is None and chart.has_limit


# --- a long log -------------------------------------------------------------------------------------------------------
def test_of_a_hundred_thousand_points_six_hundred_are_drawn_and_no_peak_is_lost() -> None:
    values = [1.0] * 100_000
    values[54_321], values[77_777] = 9.0, 0.1
    kept = thinned([(float(n), v) for n, v in enumerate(values)], 600)
    assert len(kept) <= 600
    assert (54_321.0, 9.0) in kept and (77_777.0, 0.1) in kept
    assert kept[0] == (0.0, 1.0) and kept[-1] == (99_999.0, 1.0)


@given(st.lists(st.floats(-1e6, 1e6), max_size=400), st.integers(4, 50))
def test_thinning_keeps_order_ends_and_extremes(values: list[float], most: int) -> None:
    points = [(float(n), v) for n, v in enumerate(values)]
    kept = thinned(points, most)
    assert len(kept) <= max(most, 0) and kept == sorted(kept) and set(kept) <= set(points)
    if points:
        assert kept[0] == points[0] and kept[-1] == points[-1]
        assert min(v for _, v in kept) == min(values) and max(v for _, v in kept) == max(values)


def test_a_log_is_one_line_with_its_hand_readings_marked() -> None:
    log = [reading(n / 60, 900 * math.exp(-n / 420) + 2, is_by_hand=False) for n in range(1, 2401)]
    by_hand = [reading(10.005, 250), reading(30.005, 15)]
    rows = tuple(sorted((*log, *by_hand), key=lambda r: r.elapsed_s))
    chart = rinse_chart(anion(readings=rows))
    lines = [c for c in of_kind(chart.whole, Curve) if c.role == "ln"]  # type: ignore[union-attr]
    assert len(lines) == 1 and len(lines[0].points) <= 600  # type: ignore[union-attr]
    assert len(of_kind(chart.whole, Dot)) == 3  # two by hand, and the last of all
    assert len(chart.rows) <= 60 and chart.count == 2402 and chart.is_cut


# --- on paper ---------------------------------------------------------------------------------------------------------
FULL = {
    "expected": expected(31, 34, 40),
    "earlier": (tuple((60.0 * m, US_CM * 900 * math.exp(-m / 8)) for m in range(1, 30)),),
}


@pytest.mark.parametrize("across", list(Across))
def test_paper_draws_the_same_scene(across: Across) -> None:
    rows = (
        *anion().readings,
        reading(25, 0.05, counts=Counts.CHECK),
        reading(25.5, 40, counts=Counts.INFORMS),
    )
    chart = rinse_chart(anion(readings=rows, held_from_s=22 * 60.0, across=across, **FULL))
    block = scene_block(chart.whole, 440.0)
    assert block.height == pytest.approx(430 * PX + 30.0)
    pdf = printed([PaperItem(block)], Frame(A4), Furniture("P", "Chart", "1", (), "Chart"))
    text = whole_text(pdf)
    for word in texts(chart.whole):
        assert " ".join(word.split()) in text.replace("\u202f", " "), word
    assert overprinted(pdf) == []


def test_paper_refuses_what_it_has_no_style_for() -> None:
    for item in (
        Line("mystery", px(0), px(0), px(1), px(1)),
        Label("loud", px(0), px(0), "x"),
        Symbol("m", share(0.5), share(0.5), 9),
    ):
        with pytest.raises(ValueError, match="paper"):
            scene_block(Scene("s", 100, (SceneFrame(px(0), px(0), px(9), px(9), (item,)),)), 100.0)
    assert PAPER == 1.0
