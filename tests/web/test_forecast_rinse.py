"""``manage.py forecast_rinse``: from a curves file to a forecast file, or a plain word on what is wrong with it."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.rinse_report import kept_set


def run(curves: Path, out: Path) -> str:
    said = StringIO()
    call_command("forecast_rinse", str(curves), "--out", str(out), stdout=said)
    return said.getvalue()


def written(folder: Path, content: Any) -> Path:
    path = folder / "curves.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), "utf-8")
    return path


def test_every_curve_gets_one_forecast_in_the_format(tmp_path: Path) -> None:
    curves = [curve for curve, _ in kept_set()[:12]]
    out = tmp_path / "forecasts.json"
    assert "12 forecasts" in run(written(tmp_path, {"curves": curves}), out)
    found = json.loads(out.read_text("utf-8"))["forecasts"]
    assert [entry["id"] for entry in found] == [curve["id"] for curve in curves]
    for entry in found:
        assert 0.0 <= entry["p_never"] <= 1.0
        if entry["enough_data"]:
            assert 0.0 < entry["p05_bv"] <= entry["p50_bv"] <= entry["p95_bv"]


def test_no_curves_give_an_empty_file(tmp_path: Path) -> None:
    out = tmp_path / "forecasts.json"
    run(written(tmp_path, {"curves": []}), out)
    assert json.loads(out.read_text("utf-8")) == {"forecasts": []}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "not JSON"),
        ("[" * 100_000, "nested too deep"),
        ('{"curves": [' + "1" * 5000 + "]}", "too long to be one"),
        ({"rinses": []}, 'no list "curves"'),
        ({"curves": [{"id": "a", "resin": "XX"}]}, "allowed are SAC-H, SBA1, MB, SAC-NA"),
    ],
)
def test_a_file_that_is_not_as_it_should_be_is_named_and_nothing_is_written(
    tmp_path: Path, content: Any, words: str
) -> None:
    out = tmp_path / "forecasts.json"
    out.write_text("kept", "utf-8")
    with pytest.raises(CommandError, match=words):
        run(written(tmp_path, content), out)
    assert out.read_text("utf-8") == "kept"


def test_files_that_cannot_be_read_or_written_are_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        run(tmp_path / "none.json", tmp_path / "out.json")
    with pytest.raises(CommandError, match="cannot be written"):
        run(written(tmp_path, {"curves": []}), tmp_path / "nowhere" / "out.json")
    (tmp_path / "folder").mkdir()
    with pytest.raises(CommandError, match="cannot be written"):
        run(written(tmp_path, {"curves": []}), tmp_path / "folder")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["curves.json", "folder"]
    (tmp_path / "curves.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CommandError, match="not text in UTF-8"):
        run(tmp_path / "curves.json", tmp_path / "out.json")
