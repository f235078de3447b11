"""The exchange format of curves: read as it stands, and every departure named with its place and what is allowed."""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.forecasting.curve_files import curves_of
from regenplant.core.process.forecasting.rinse_so_far import RinsedBed

ENTRY: dict[str, Any] = {
    "id": "r1", "resin": "SAC-H", "bed_volume_l": 850.0, "flow_bv_per_h": 12.0, "rinse_water_us_cm": 2.9, "limit_us_cm": 20.0,
    "readings": [
        {"bv": 0.5, "minutes": 2.5, "conductivity_us_cm_25c": 20000.0, "temperature_c": 16.3},
        {"bv": 1.5, "minutes": 7.5, "conductivity_us_cm_25c": 1887.0, "temperature_c": None},
    ],
    "history": [{"endpoint_bv": 8.8, "slope_bv_per_decade": 3.87}, {"endpoint_bv": None, "slope_bv_per_decade": None}],
}  # fmt: skip


def test_an_entry_is_read_in_si() -> None:
    [(name, rinse)] = curves_of({"curves": [ENTRY]})
    assert name == "r1" and rinse.bed is RinsedBed.CATION_AFTER_ACID
    assert rinse.bed_volume_m3 == pytest.approx(0.85)
    assert rinse.flow_bv_per_h == pytest.approx(12.0)
    assert rinse.limit_siemens_per_m == pytest.approx(20e-4)
    first, second = rinse.readings
    assert first.conductivity_siemens_per_m == pytest.approx(2.0) and first.is_clipped
    assert first.temperature_kelvin == pytest.approx(289.45) and second.temperature_kelvin is None
    assert second.at_s == 450.0 and not second.is_clipped
    assert [past.endpoint_bv for past in rinse.history] == [8.8, None]


def test_history_may_lack() -> None:
    entry = {name: value for name, value in ENTRY.items() if name != "history"}
    [(_, rinse)] = curves_of({"curves": [entry]})
    assert rinse.history == ()


def test_a_meter_s_missing_value_is_no_reading_and_the_others_stand() -> None:
    [(_, rinse)] = curves_of({"curves": [changed(("readings", 1, "conductivity_us_cm_25c"), None)]})
    assert [each.bed_volumes_bv for each in rinse.readings] == [0.5]


def test_an_entry_without_any_value_is_refused() -> None:
    entry = copy.deepcopy(ENTRY)
    for each in entry["readings"]:
        each["conductivity_us_cm_25c"] = None
    with pytest.raises(OutOfRange, match=r'Entry 1 .*"readings": none of the 2 has a conductivity'):
        curves_of({"curves": [entry]})


def changed(path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    entry = copy.deepcopy(ENTRY)
    at: Any = entry
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    return entry


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("id",), 7, ('Entry 1, "id"', "7", "text")),
        (("resin",), "WAC", ('"resin"', "'WAC'", "SAC-H, SBA1, MB, SAC-NA")),
        (("resin",), ["MB"], ('"resin"', "allowed are")),
        (("bed_volume_l",), 0, ('"bed_volume_l"', "0 stands there", "0.001 to")),
        (("flow_bv_per_h",), "12", ('"flow_bv_per_h"', "'12'", "a number")),
        (("limit_us_cm",), True, ('"limit_us_cm"', "True", "a number")),
        (("limit_us_cm",), math.nan, ('"limit_us_cm"', "nan", "a number")),
        (("limit_us_cm",), 10**400, ('"limit_us_cm"', "a number")),
        (("rinse_water_us_cm",), -1.0, ('"rinse_water_us_cm"', "-1 stands there")),
        (("readings",), [], ("No readings", "at least one")),
        (("readings",), {}, ('"readings"', "an object", "a list")),
        (("readings", 1), 3, ("reading 2", "a number", "an object")),
        (("readings", 1, "conductivity_us_cm_25c"), 0.0, ("reading 2", "conductivity_us_cm_25c", "above 0")),
        (("readings", 1, "conductivity_us_cm_25c"), -18.0, ("reading 2", "-18 stands there", "above 0")),
        (
            ("readings", 1, "conductivity_us_cm_25c"),
            2e9,
            ("reading 2", "2e+09 stands there", "above 0 to 1e+07"),
        ),
        (("readings", 1, "conductivity_us_cm_25c"), "18 µS/cm", ("reading 2", "'18 µS/cm'", "a number")),
        (("readings", 1, "minutes"), math.inf, ("reading 2", "minutes", "inf stands there")),
        (("readings", 0, "bv"), math.nan, ("reading 1", "bv", "nan stands there")),
        (("bed_volume_l",), 1e9, ('"bed_volume_l"', "1e+09 stands there")),
        (
            ("readings", 1),
            {"bv": 1.5, "minutes": 7.5},
            ("reading 2", "conductivity_us_cm_25c", "nothing stands there"),
        ),
        (("readings", 1, "bv"), None, ("reading 2", '"bv"', "nothing stands there")),
        (("readings", 1, "minutes"), None, ("reading 2", '"minutes"', "nothing stands there")),
        (("readings", 1, "bv"), 0.1, ("Reading 2 lies before", "order of time")),
        (("readings", 1, "minutes"), 1.0, ("Reading 2 lies before", "order of time")),
        (("readings", 0, "temperature_c"), 400.0, ("reading 1", "temperature_c", "-40 to 150")),
        (("history",), "none", ('"history"', "text", "a list")),
        (("history", 0, "endpoint_bv"), -3.0, ("history 1", "endpoint_bv", "above 0")),
    ],
)
def test_what_departs_is_named_with_its_place(
    path: tuple[str | int, ...], value: Any, words: tuple[str, ...]
) -> None:
    with pytest.raises(OutOfRange) as refusal:
        curves_of({"curves": [changed(path, value)]})
    for word in words:
        assert word in refusal.value.message
    assert refusal.value.message.startswith("Entry 1")


@pytest.mark.parametrize("content", [[], {}, {"curves": {}}, None, 3])
def test_a_file_without_curves_is_refused(content: Any) -> None:
    with pytest.raises(OutOfRange, match='no list "curves"'):
        curves_of(content)


def test_an_id_stands_once() -> None:
    with pytest.raises(OutOfRange, match='Entry 2: the id "r1" stands there a second time'):
        curves_of({"curves": [ENTRY, ENTRY]})
