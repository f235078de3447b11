"""The demonstration command as a person starts it: in a process of its own, on a real port, ended by a signal."""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
MADE_BEFORE = """
import django; django.setup()
from datetime import UTC, datetime
from django.core.management import call_command
from regenplant.audit.by import By
from regenplant.people.services import add_first_administrator
call_command("migrate", verbosity=0)
add_first_administrator(
    by=By(None, datetime.now(UTC), "story"), username="{username}", full_name="A. Person", initials="AP", password="long enough to pass"
)
"""


def environ(folder: Path) -> dict[str, str]:
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    return {
        **kept,
        "DJANGO_SETTINGS_MODULE": "regenplant.settings",
        "REGENPLANT_DATA": str(folder),
        "PYTHONUNBUFFERED": "1",
    }


def command(*arguments: str) -> list[str]:
    return [sys.executable, "manage.py", *arguments]


def ran(folder: Path, *arguments: str, timeout: float = 120) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(*arguments),
        cwd=ROOT,
        env=environ(folder),
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
    )


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number: int = free.getsockname()[1]
        return number


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    script = MADE_BEFORE.format(username="node")
    subprocess.run([sys.executable, "-c", script], cwd=ROOT, env=environ(folder), check=True, timeout=120)
    return folder


@pytest.fixture
def made_before(made_once: Path, tmp_path: Path) -> Path:
    """A folder in which a (very small) demonstration was made before."""
    return Path(shutil.copytree(made_once, tmp_path / "made"))


def _as_from_a_keyboard() -> None:
    """A shell that starts its jobs in the background hands on an ignored Ctrl-C; a terminal does not."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.fixture
def serving(made_before: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        command("demo", "--port", str(port)),
        cwd=ROOT,
        env=environ(made_before),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_as_from_a_keyboard,
    )
    yield process
    if process.poll() is None:
        process.kill()
    process.communicate()


def page(port: int, path: str) -> tuple[int, str, str]:
    """Status, kind and text of a page, once the server answers."""
    until = time.monotonic() + 60
    while True:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
                return answer.status, answer.headers["Content-Type"], answer.read().decode("utf-8")
        except ConnectionError:
            time.sleep(0.05)
        except urllib.error.URLError as error:
            if not isinstance(error.reason, ConnectionError) or time.monotonic() > until:
                raise
            time.sleep(0.05)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "terminate"])
def test_it_serves_says_who_may_sign_in_and_ends_cleanly(
    serving: subprocess.Popen[str], port: int, number: signal.Signals
) -> None:
    status, kind, text = page(port, "/sign-in/")
    assert (status, kind) == (200, "text/html; charset=utf-8")
    assert "A. Person" in text and "demonstration only" in text
    assert page(port, "/static/web/regenplant.css")[:2] == (200, 'text/css; charset="utf-8"')
    serving.send_signal(number)
    out, err = serving.communicate(timeout=20)
    assert serving.returncode == 0, err
    assert f"Open  http://127.0.0.1:{port}/" in out
    assert re.search(r"node +A\. Person +administrator", out)
    assert "The demonstration has ended." in out and "Traceback" not in out + err


def test_a_taken_port_is_one_clear_sentence_before_anything_is_made(tmp_path: Path, port: int) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        answer = ran(tmp_path, "demo", "--port", str(port))
    assert answer.returncode == 1
    sentence = f"Port {port} on 127.0.0.1 is taken by another program. Choose another: python manage.py demo --port {port + 1}"
    assert sentence in answer.stderr and "Traceback" not in answer.stderr
    assert not (tmp_path / "regenplant.sqlite3").exists()


@pytest.mark.parametrize("text", ["0", "70000", "eighty"])
def test_a_port_that_cannot_be_is_refused(tmp_path: Path, text: str) -> None:
    answer = ran(tmp_path, "demo", "--port", text)
    assert answer.returncode != 0
    assert "--port" in answer.stderr and "Traceback" not in answer.stderr


def test_a_plants_own_records_are_never_mixed_with_the_demonstration(tmp_path: Path) -> None:
    script = MADE_BEFORE.format(username="real-person")
    subprocess.run([sys.executable, "-c", script], cwd=ROOT, env=environ(tmp_path), check=True, timeout=120)
    for arguments in (("demo", "--prepare"), ("demo", "--prepare", "--anew")):
        answer = ran(tmp_path, *arguments)
        assert answer.returncode == 1
        assert "a plant's own records" in answer.stderr
    assert (tmp_path / "regenplant.sqlite3").exists()


def test_the_demonstration_is_off_for_any_other_command(tmp_path: Path) -> None:
    answer = ran(tmp_path, "shell", "-c", "from django.conf import settings; print('demo:', settings.DEMO)")
    assert "demo: False" in answer.stdout


# --- what the story shows ------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The whole story, prepared once; or that in the folder REGENPLANT_STORY, where the build has prepared it already."""
    made = os.environ.get("REGENPLANT_STORY")
    folder = Path(made) if made else tmp_path_factory.mktemp("story")
    if not made:
        prepared = ran(folder, "demo", "--prepare", timeout=900)
        assert prepared.returncode == 0, prepared.stderr
    answer = subprocess.run(
        [sys.executable, "-m", "tests.story_shown"],
        cwd=ROOT,
        env=environ(folder),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert answer.returncode == 0, answer.stderr
    found: dict[str, Any] = json.loads(answer.stdout)
    return found


def test_its_record_holds_and_is_in_the_order_of_time(shown: dict[str, Any]) -> None:
    assert "All records hold." in shown["verified"]
    assert "notice" not in shown["verified"]


def test_products_and_what_customers_ask_for_are_approved_by_two(shown: dict[str, Any]) -> None:
    assert shown["products"] >= 5
    assert shown["customers_asking"] == ["INKWELL", "LANTERN", "PUFFIN", "STARLING"]
    assert shown["asking_less"] == ["PUFFIN"]
    assert len(shown["approved_by_another"]) == 4 and all(shown["approved_by_another"])
    assert shown["drafts"] == 1


def test_meters_with_accounts_of_their_own_fill_rinses_and_a_logger_fills_one(shown: dict[str, Any]) -> None:
    assert set(shown["feeds"]) == {"A1-OUT", "C1-OUT", "M1-OUT"}
    assert all(is_device and is_calibrated for is_device, is_calibrated in shown["feeds"].values())
    of_source = shown["rinses_of_source"]
    assert of_source["mqtt"] >= 5 and of_source["http"] >= 10 and of_source["file"] == 1


def test_a_rinse_runs_now_with_a_forecast_and_one_stands_with_causes(shown: dict[str, Any]) -> None:
    running = {one["vessel"]: one for one in shown["running"]}
    falls, stands = running["C1"], running["A1"]
    assert falls["p50_bv"] > falls["rinsed_bv"] and falls["p_never"] < 0.3
    assert falls["age_s"] < 600 and falls["earlier"] >= 5 and falls["forecasts"] >= 2
    assert stands["p_never"] > 0.5 and len(stands["causes"]) >= 2


def test_each_way_to_decide_was_taken_and_one_decision_waits(shown: dict[str, Any]) -> None:
    assert shown["gone_on"] == 1
    assert shown["successors"] == [["released"]]
    assert shown["downgrades"] == [["C", "D", 2]]
    assert shown["waiting_at_qc"] == [True]
    assert shown["samples_kept"] >= 5 and shown["samples_gone"] == 1
    assert shown["tank_tests"] >= 5


def test_an_instrument_is_overdue_and_one_found_outside_puts_releases_in_doubt(shown: dict[str, Any]) -> None:
    assert shown["overdue"] == ["CELL-4"]
    assert shown["found_outside"] == ["CELL-2", True]
    impact = shown["impact"]
    assert len(impact) >= 5
    assert [row[0] for row in impact] == sorted(row[0] for row in impact)
    assert [True, True] in [row[1:] for row in impact[:3]], (
        "one of the nearest was released and holds no longer"
    )


def test_the_audit_of_use_is_the_ledger_and_a_week_of_it_is_signed(shown: dict[str, Any]) -> None:
    assert shown["use_not_read"] == 0 and shown["use_grams"] == shown["ledger_grams"] > 0
    assert shown["use_cost"] > 0
    assert shown["use_outside"] >= 1 and {"vessel", "customer", "resin_lot"} <= set(
        shown["use_groups_beyond"]
    )
    assert shown["levels_set"] == ["late"] and shown["watched_beyond"]["overdue"] >= 1
    assert shown["watched_beyond"]["rinse_rise"] >= 1 and shown["watched_beyond"]["excursions"] == 1
    assert len(shown["use_reports"]) == 1 and shown["use_reports"][0] >= 3 and shown["use_reports_hold"]


def test_certificates_of_each_kind_and_standing_are_issued(shown: dict[str, Any]) -> None:
    assert shown["certificates"] == ["delivery", "tank"]
    assert shown["certificate_states"] == ["replaced", "valid", "withdrawn"]
    assert shown["grades"] == ["ASTM D1193 type IV"]
    assert shown["prints"] >= 4 and shown["untouched"]


def test_the_trends_show_one_lot_that_drifts(shown: dict[str, Any]) -> None:
    assert len(shown["drifting"]) == 1 and shown["alerts"] == shown["drifting"]
    assert shown["followed"] >= 1


def test_tanks_are_counted_each_morning_and_one_count_waits(shown: dict[str, Any]) -> None:
    assert shown["shapes"] == 5 and shown["counts"] >= 19 and shown["counts_replaced"] == 1
    assert shown["counts_booked"] == [["T-CAUSTIC", "leak or spill"]]
    assert shown["counts_waiting"] == ["T-ACID"]
    assert len(shown["expected"]) == 2 and [late for _, late in shown["expected"]] == [True, False]


def test_the_store_of_resin_has_every_kind_of_movement_and_a_bed_was_topped_up(shown: dict[str, Any]) -> None:
    resin = shown["resin"]
    assert resin["stored"] >= 5 and resin["waiting"] == 1
    assert resin["kinds"] == ["counted", "kept", "made", "received", "taken", "to_batch"]
    assert resin["topped_with"] == "CAT-H-NEW-1" and "CAT-H-NEW-1" in resin["in_the_lot"]


@pytest.mark.requirement("RS-05")
def test_resin_ages_with_its_evidence_and_advice_and_one_vessel_loses_beads(shown: dict[str, Any]) -> None:
    """Losses are usual but of the softener whose bottom screen lets beads through; whoever sets a factor stays within the band."""
    ageing = shown["ageing"]
    assert (ageing["samples"], ageing["looks"], ageing["factors_set"]) == (2, 2, 1)
    assert ageing["factors_signed"] == 1
    assert ageing["set_within_band"] and "organics" in ageing["confirmed"] and ageing["reasons"]
    assert {"clean", "test", "top_up"} <= set(ageing["steps"])
    assert ageing["rates"] >= 3 and ageing["usual"] >= 2
    assert ageing["leaking"] and all(mean > 0.03 and is_advised for mean, is_advised in ageing["leaking"])


@pytest.mark.requirement("CS-01")
def test_bulk_deliveries_came_through_the_lock_and_one_was_stopped(shown: dict[str, Any]) -> None:
    unloading = shown["unloading"]
    assert unloading["coded"] == ["T-ACID", "T-BRINE", "T-CAUSTIC", "T-SULFURIC"]
    assert unloading["unlocked"] == unloading["weighed"] >= 4
    assert unloading["by_two"] and unloading["differing"] == 0
    ((tank, alarm, is_answered),) = unloading["stopped"]
    assert tank == "T-CAUSTIC" and "FILL-1" in alarm and is_answered


def test_tanks_stand_in_areas_and_spills_are_closed_and_open(shown: dict[str, Any]) -> None:
    safety = shown["safety"]
    assert (safety["nowhere"], safety["meetings"], safety["booked"]) == ([], 0, True)
    assert safety["spills"] == ["closed", "open"]
    assert safety["replaced_sheets"] >= 1 and safety["own_thresholds"] == 1


def test_waste_is_treated_in_stages_and_goes_when_the_meter_says_what_the_books_say(
    shown: dict[str, Any],
) -> None:
    waste = shown["waste"]
    assert waste["receives"] == ["N1"] and waste["drained_into"] == waste["discharged_from"] == ["N1", "N2"]
    assert waste["capacity_m3"] <= 120.0
    treated = waste["treated"]
    assert {chemical for chemical, _, _ in treated} == {"hcl", "naoh"}
    assert all(before is not None for _, before, _ in treated), "nothing is given before the pH was measured"
    for chemical, before, after in treated:
        assert after is None or (after < before if chemical == "hcl" else after > before)
    assert any(one[0] == other[0] and one[2] == other[1] for one, other in itertools.pairwise(treated)), (
        "a second stage by the pH that was measured after the first"
    )
    assert len(waste["last_readings"]) >= 5
    assert all(
        len(two) == 2 and all(6.0 <= ph <= 9.0 for ph in two) and abs(two[0] - two[1]) <= 0.2
        for two in waste["last_readings"]
    )
    assert waste["excursions"] == [False, True] and waste["reports"] == [True]


def test_the_safety_desk_calls_and_a_refused_tank_stands_here_with_its_letter(shown: dict[str, Any]) -> None:
    safety = shown["safety"]
    assert safety["refused_here"] == [[1, True]] and safety["refused_gone"] == [[1, False]]
    assert {"Count", "Excursion", "Spill"} <= set(safety["calls"])


def test_batches_under_way_are_laid_in_the_plan_one_after_the_other(shown: dict[str, Any]) -> None:
    """Eleven batches were laid side by side once: six asked for the one technician in the same quarter of an hour."""
    assert shown["under way in the plan"] >= 8
    assert shown["over a limit because of the plan"] == []


def test_a_plan_of_the_day_is_accepted_and_another_is_tried_beside_it(shown: dict[str, Any]) -> None:
    assert shown["accepted plan"] == "DP-101"
    assert shown["planned batches"] >= 2
    assert shown["what-if copies"] == 1


def test_tanks_on_their_way_stand_in_the_plan(shown: dict[str, Any]) -> None:
    assert shown["tanks on their way"] == 3
    assert shown["of them planned"] == 3
    assert shown["of them rushed by their customer"] == 3


def test_the_pages_of_it_open(shown: dict[str, Any]) -> None:
    assert set(shown["pages"].values()) == {200}, shown["pages"]
