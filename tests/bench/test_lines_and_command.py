"""The bench as a command: the list, one answer, and many lines, whatever they hold."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError

from regenplant import units
from regenplant.bench.lines import answer_lines
from regenplant.core.bench.registry import quantities


def run(*arguments: str, **options: Any) -> str:
    out = io.StringIO()
    call_command("bench", *arguments, stdout=out, **options)
    return out.getvalue()


def test_one_answer_is_json_with_all_that_was_asked_for() -> None:
    found = json.loads(run("density", "chemical=HCl", "strength=32 %", "temperature=20 degC"))
    assert {
        "value",
        "unit",
        "value_si",
        "method",
        "inputs",
        "working",
        "warnings",
        "source",
        "uncertainty",
    } <= set(found)
    assert found["value"] == pytest.approx(1159.4, rel=0.0005)  # CRC Handbook, 102nd ed.
    assert found["unit"] == "kg/m3" and found["uncertainty"]["unit"] == "kg/m3"
    assert found["inputs"]["strength"] == {
        "given": "32 %", "value": 32.0, "unit": "%", "value_si": 0.32, "unit_si": "-", "understood": "32.00\u00a0%",
    }  # fmt: skip


def test_the_working_has_formula_numbers_units_and_source() -> None:
    found = json.loads(run("dose_equivalents", "chemical=HCl", "dose=6 lb/ft3"))["working"]
    assert found["formula"] == "c_q = q / EW"
    assert found["substitution"] == "c_q = 96.111\u00a0g/L / 36.461\u00a0g/eq"
    assert found["result"] == "c_q = 2.636\u00a0eq/L"
    assert [entry["symbol"] for entry in found["inputs"]] == ["q", "EW"] and found["source"]
    text = run("dose_equivalents", "chemical=HCl", "dose=6 lb/ft3", "--text")
    assert "q: dose as 100 %" in text and "source: Equivalents from molar mass and charge" in text


def test_another_unit_is_given_when_asked() -> None:
    assert (
        json.loads(run("pressure_drop", "d=0.65 mm", "u=40 m/h", "t=15", "depth=1.2", "--unit", "psi"))[
            "unit"
        ]
        == "psi"
    )


def test_bad_input_ends_with_an_error_object_and_another_exit(capsys: pytest.CaptureFixture[str]) -> None:
    out = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("bench", "density", "strength=5", stdout=out)
    assert ended.value.code == 1
    assert json.loads(out.getvalue())["error"]["input"] == "chemical"
    for pairs in (["strength"], ["strength=5", "strength=6"]):
        with pytest.raises(SystemExit):
            call_command("bench", "density", *pairs, stdout=io.StringIO())
    with pytest.raises(CommandError, match="Name a quantity"):
        call_command("bench", stdout=io.StringIO())
    with pytest.raises(CommandError, match="no file"):
        call_command("bench", "--jsonl", "nowhere.jsonl", stdout=io.StringIO())


def test_a_wrong_unit_and_an_unknown_name_are_refused_as_json() -> None:
    for arguments, options in (
        (["density", "chemical=HCl", "strength=5 %"], {"unit": "furlong"}),
        (["xyz"], {"is_list": True}),
    ):
        out = io.StringIO()
        with pytest.raises(SystemExit) as ended:
            call_command("bench", *arguments, stdout=out, **options)
        assert ended.value.code == 1
        assert json.loads(out.getvalue())["error"]["message"].endswith(".")
    with pytest.raises(CommandError, match="stands alone"):
        call_command("bench", "density", jsonl="some.jsonl", stdout=io.StringIO())


def test_the_working_in_words_knows_the_unit_asked_for() -> None:
    assert "lb/gal" in run("density", "chemical=HCl", "strength=5 %", "--text", "--unit", "lb/gal")


class _Full(io.StringIO):
    """A reader that has enough, or a person who stops."""

    def __init__(self, error: type[BaseException]):
        super().__init__()
        self.error = error

    def write(self, text: str) -> int:
        raise self.error


def test_a_stop_by_the_person_ends_quietly(tmp_path: Path) -> None:
    path = tmp_path / "asked.jsonl"
    path.write_text('{"quantity": "usp stage 2"}\n', encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        call_command("bench", jsonl=str(path), stdout=_Full(KeyboardInterrupt))
    assert ended.value.code == 130


def test_a_reader_that_has_enough_ends_quietly(tmp_path: Path) -> None:
    path = tmp_path / "asked.jsonl"
    path.write_text('{"quantity": "usp stage 2"}\n' * 3000, encoding="utf-8")
    program = [sys.executable, "manage.py", "bench", "--jsonl", str(path)]
    with subprocess.Popen(
        program, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=settings.BASE_DIR
    ) as running:
        assert running.stdout is not None and running.stderr is not None
        assert b"2.1" in running.stdout.readline()
        running.stdout.close()
        assert running.stderr.read() == b"" and running.wait() == 0


def test_the_list_names_shared_inputs_once() -> None:
    text = run("--list")
    assert text.count("acid_chloride [") < 3 and "the inputs of water_conductivity" in text
    assert "mg/L" in next(line for line in text.splitlines() if line.strip().startswith("sodium_leak ["))


def test_the_list_names_every_quantity_for_people_and_for_programs() -> None:
    text = run("--list")
    found = json.loads(run("--list", "--json"))["quantities"]
    assert [entry["quantity"] for entry in found] == list(quantities())
    for entry in found:
        assert f"  {entry['quantity']}" in text
        for given in entry["inputs"]:
            assert "choices" in given or given["kind"] == "text" or given["low"] <= given["high"]
            assert given["required"] or "default" in given or not given["required"]
    one = json.loads(run("density", "--list"))
    assert one["quantity"] == "density" and one["inputs"][2]["default"] == "20 degC"


def test_every_unit_of_the_list_can_be_typed_back() -> None:
    for found in quantities().values():
        if found.unit:
            assert units.si_unit_of(found.unit)
        for spec in found.inputs:
            if spec.unit:
                assert units.si_unit_of(spec.unit), f"{found.key}.{spec.name}"


HOSTILE = (
    "", "   ", "{", "[]", "null", "7", '"density"', "{}", '{"quantity": 3}', '{"quantity": "density", "inputs": [1]}',
    '{"id": 1, "quantity": "density", "inputs": {"chemical": null}}', '{"id": {"a": 1}, "quantity": "nothing"}', "\x00", "🧪",
    '{"quantity": "density", "inputs": {"chemical": "HCl", "strength": 1e999}}', '{"quantity": "' + "x" * 5000 + '"}',
    '{"quantity": "density", "inputs": {"' + "y" * 5000 + '": 1}}', "[" * 100_000, "9" * 400_000,
    '{"quantity": "convert", "inputs": {"amount": "1 m**9**9**9", "to": "m"}}', '{"quantity": "convert", "inputs": {"amount": "5 kg", "to": "m/h"}}',
    '{"quantity": "rinse_forecast", "inputs": {"bed_volumes": [1, "x", {}], "conductivity": [], "endpoint": 3}}',
    '{"quantity": "density", "inputs": {"chemical": "HCl", "strength": "5 %", "temperature": {"a": 1}}, "unit": ["x"]}',
)  # fmt: skip


def test_no_line_ends_the_answers() -> None:
    good = '{"id": "last", "quantity": "pkw", "inputs": {}}'
    found = [json.loads(line) for line in answer_lines([*HOSTILE, good])]
    assert len(found) == len([line for line in HOSTILE if line.strip()]) + 1
    assert all("error" in entry and entry["error"]["message"].endswith((".", "?")) for entry in found[:-1])
    assert found[-1]["id"] == "last" and found[-1]["value"] == pytest.approx(13.995, abs=0.02)  # IAPWS R11-07


def test_every_number_of_the_edge_of_a_range_is_answered_or_refused_in_words() -> None:
    """The stated lowest and highest of each input, one at a time: an answer or a sentence, never a crash."""
    lines = []
    for found in quantities().values():
        for spec in found.inputs:
            for edge in (spec.low, spec.high):
                if edge is not None and spec.kind in units.KINDS:
                    kind = units.KINDS[spec.kind]
                    text = (
                        f"{edge!r} {kind.si_unit}"
                        if kind.si_unit not in ("dimensionless", "eq/m^3")
                        else f"{edge!r} 1"
                    )
                    inputs = dict(found.example) | {spec.name: text}
                    lines.append(
                        json.dumps(
                            {"id": f"{found.key}.{spec.name}={edge}", "quantity": found.key, "inputs": inputs}
                        )
                    )
    for line in answer_lines(lines):
        entry = json.loads(line)
        assert "value" in entry or entry["error"]["message"].endswith("."), entry


def test_lines_are_answered_in_order_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "asked.jsonl"
    asked = [
        {"id": i, "quantity": "convert", "inputs": {"amount": f"{i} lb/ft3", "to": "g/L"}}
        for i in range(1, 50)
    ]
    path.write_text("\n".join(json.dumps(entry) for entry in asked), encoding="utf-8")
    found = [json.loads(line) for line in run("--jsonl", str(path)).splitlines()]
    assert [entry["id"] for entry in found] == list(range(1, 50))
    assert found[9]["value"] == pytest.approx(160.18463, rel=1e-6)  # 16.018463 g/L per lb/ft3


def test_two_hundred_lines_a_second_where_no_equilibrium_is_solved() -> None:
    """The issue's figure is 200 lines a second; every quantity with its example and changing temperatures, twice over."""
    lines = []
    for turn in range(2):
        for found in quantities().values():
            if not found.is_equilibrium:
                inputs = dict(found.example)
                if "temperature" in inputs:
                    inputs["temperature"] = f"{18 + turn * 1.3:.2f} degC"
                lines.append(json.dumps({"id": turn, "quantity": found.key, "inputs": inputs}))
    warm = list(answer_lines(lines))
    assert not [line for line in warm if '"error"' in line]
    start = time.perf_counter()
    list(answer_lines(lines))
    rate = len(lines) / (time.perf_counter() - start)
    assert rate > 200, f"{rate:.0f} lines a second"
