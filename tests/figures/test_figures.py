"""The command that measures the planner measures what it says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.core.scheduling.instances import instance
from tests.figures import __main__ as command
from tests.figures.one import measured
from tests.figures.table import table


def test_one_instance_is_planned_bounded_and_compared(tmp_path: Path) -> None:
    path = tmp_path / "instance.json"
    path.write_text(json.dumps(instance(8, tanks=18)), encoding="utf-8")
    figures = measured(path, 2.0, 1)
    assert figures["feasible"] is True
    assert 0 < figures["bound"] <= figures["score"] < figures["first_come"]  # type: ignore[operator]
    assert 0 <= figures["first_s"] < 2.0 <= figures["whole_s"] + 0.5  # type: ignore[operator]
    assert figures["memory_mib"] > 50  # type: ignore[operator]


def line(**changes: Any) -> dict[str, Any]:
    return {
        "size": "day", "seed": 1, "seconds": 10.0, "feasible": True, "score": 200.0, "late_h": 1.0, "batches": 3, "bound": 150.0,
        "first_s": 0.1, "whole_s": 10.0, "memory_mib": 90, "first_come": 400.0, **changes,
    }  # fmt: skip


def test_the_table_holds_medians_and_the_worst() -> None:
    lines = table([line(), line(score=300.0, memory_mib=120), line(score=250.0, first_s=None)]).splitlines()
    assert lines[2] == (
        "| day | 10 s | 3 | 400 | 250 | 300 | 1 | 3 | 150 | 40.0% | 50.0% | not each | 120 MiB |"
    )


def test_what_stands_in_the_file_is_not_measured_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out, generator = tmp_path / "out.jsonl", tmp_path / "gen.py"
    out.write_text(json.dumps(line(score=175.0)) + "\n", encoding="utf-8")
    generator.write_text("raise SystemExit('not to be run')", encoding="utf-8")
    arguments = ["figures", "plan", "--size", "day", "--seeds", "1", "--seconds", "10"]
    monkeypatch.setattr("sys.argv", [*arguments, "--generator", str(generator), "--out", str(out)])
    assert command.main() == 0
    assert "| day | 10 s | 1 | 400 | 175 |" in capsys.readouterr().out


def test_seeds_are_read_as_numbers_and_stretches() -> None:
    assert command._numbers("1-3,7") == [1, 2, 3, 7]
