"""``manage.py plan_instance``: from an instance to a plan that keeps every limit, or a plain word on what is wrong."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.core.scheduling.instances import instance
from tests.core.scheduling.test_plans import referee


def run(folder: Path, data: Any, *options: str) -> tuple[str, dict[str, Any]]:
    source, out = folder / "instance.json", folder / "plan.json"
    source.write_text(json.dumps(data), "utf-8")
    said = StringIO()
    call_command("plan_instance", str(source), "--out", str(out), "--workers", "1", *options, stdout=said)
    return said.getvalue(), json.loads(out.read_text("utf-8"))


def test_a_plan_is_written_with_its_score_and_an_honest_gap(tmp_path: Path) -> None:
    data = instance(5)
    said, plan = run(tmp_path, data, "--seconds", "1")
    assert "score" in said and "No plan has a score below" in said
    assert sorted(name for batch in plan["batches"] for name in batch["tanks"]) == sorted(
        tank["id"] for tank in data["tanks"]
    )
    if referee is not None:
        judged = referee(data, plan)
        assert judged["errors"] == []
        assert f"score {judged['score']:,.2f}" in said


def test_what_cannot_be_served_is_said_first(tmp_path: Path) -> None:
    data = instance(5)
    data["tanks"][0]["volume_l"] = 4_000
    said, plan = run(tmp_path, data, "--seconds", "1")
    assert said.startswith("Cannot be served: Tank K000 holds 4000 L")
    assert "Without a batch: K000" in said
    assert all("K000" not in batch["tanks"] for batch in plan["batches"])


@pytest.mark.parametrize(
    ("data", "options", "words"),
    [
        ({"name": "half"}, (), "lacks the field"),
        (instance(5), ("--seconds", "0"), "from 0 to 86,400 seconds"),
        (instance(5), ("--workers", "0"), "at least one worker"),
    ],
)
def test_what_cannot_be_planned_is_refused_and_nothing_is_written(
    tmp_path: Path, data: Any, options: tuple[str, ...], words: str
) -> None:
    source, out = tmp_path / "instance.json", tmp_path / "plan.json"
    source.write_text(json.dumps(data), "utf-8")
    with pytest.raises(CommandError, match=words):
        call_command("plan_instance", str(source), "--out", str(out), *options, stdout=StringIO())
    assert not out.exists()
