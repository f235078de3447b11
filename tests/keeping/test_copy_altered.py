"""Copies altered in every way we could think of: each is found by the verifier alone, and named.

The list of digests is mended after each alteration, as a careful forger would, so that only the record itself can tell.
"""

from __future__ import annotations

import base64
import copy
import hashlib
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from regenplant.core.process.canonical import canonical_text
from regenplant.keeping import verify_copy
from tests.keeping import scene
from tests.keeping.scene import DIGESTS, PAPER, RECORD, Opened

Alter = Callable[[Opened], None]
ALTERATIONS: dict[str, tuple[Alter, set[str]]] = {}
pytestmark = pytest.mark.requirement("ER-23", "ER-02", "ER-03")


def alteration(*codes: str) -> Callable[[Alter], Alter]:
    """Register an alteration with what must be named, at least."""

    def register(alter: Alter) -> Alter:
        ALTERATIONS[alter.__name__] = (alter, set(codes))
        return alter

    return register


# --- rows ---------------------------------------------------------------------------------------------------------
@alteration("row.altered")
def a_digit_of_an_entry(c: Opened) -> None:
    row = next(r["columns"] for r in c.rows("entries") if r["columns"]["value"] is not None)
    row["value_as_typed"] = row["value_as_typed"].replace(row["value_as_typed"][0], "9", 1) + "1"


@alteration("row.altered", "signed.row")
def a_reading_made_better(c: Opened) -> None:
    _standing(c, "rinse readings")["conductivity_25_siemens_per_m"] /= 10.0


@alteration("row.altered", "signed.row")
def a_reading_from_another_instrument(c: Opened) -> None:
    row = _standing(c, "rinse readings")
    row["instrument_id"] = 0


@alteration("row.altered", "signed.row")
def a_measurement_as_typed(c: Opened) -> None:
    _standing(c, "measurements")["value_as_typed"] = "0.01"


@alteration("row.missing")
def an_entry_taken_out(c: Opened) -> None:
    del c.rows("entries")[3]
    c.recount()


@alteration("row.missing", "signed.rows")
def a_reading_taken_out(c: Opened) -> None:
    rows = c.rows("rinse readings")
    rows.remove(next(r for r in rows if r["columns"] is _standing(c, "rinse readings")))
    c.recount()


@alteration("row.missing")
def the_first_value_of_a_correction_hidden(c: Opened) -> None:
    replaced = {r["columns"]["replaces_id"] for r in c.rows("entries")}
    rows = c.rows("entries")
    rows.remove(next(r for r in rows if int(r["key"]) in replaced))
    c.recount()


@alteration("row.unwritten", "signed.rows")
def a_reading_added(c: Opened) -> None:
    added = copy.deepcopy(c.rows("rinse readings")[-1])
    added["key"] = "99999"
    added["columns"] |= {"id": 99999, "replaces_id": None}
    c.rows("rinse readings").append(added)
    c.recount()


@alteration("row.twice")
def a_row_doubled(c: Opened) -> None:
    c.rows("steps").append(copy.deepcopy(c.rows("steps")[0]))
    c.recount()


@alteration("row.altered")
def a_step_by_another_person(c: Opened) -> None:
    c.columns("steps", 2)["finished_by_id"] = c.columns("releases")["released_by_id"]


@alteration("row.altered")
def a_back_dated_entry(c: Opened) -> None:
    columns = (row["columns"] for row in c.rows("entries"))
    late = next(row for row in columns if row["entered_at"] != row["occurred_at"])
    late["entered_at"] = late["occurred_at"]


@alteration("row.altered")
def the_reason_of_a_correction(c: Opened) -> None:
    next(r["columns"] for r in c.rows("entries") if r["columns"]["reason"])["reason"] = "a better reason"


@alteration("row.altered", "release.deviation")
def the_decision_on_a_deviation(c: Opened) -> None:
    c.columns("deviations")["decision"] = "Nothing happened at all."


@alteration("row.missing", "release.deviation")
def a_deviation_taken_out(c: Opened) -> None:
    c.rows("deviations").clear()
    c.recount()


@alteration("row.altered")
def the_reason_of_a_hold(c: Opened) -> None:
    c.columns("holds")["reason"] = "A short rest."


@alteration("row.altered")
def the_mass_of_a_movement(c: Opened) -> None:
    c.columns("chemical movements")["grams_100"] += 1


@alteration("row.altered")
def the_strength_of_a_lot(c: Opened) -> None:
    c.columns("strength checks")["strength_frac"] = 0.33


@alteration("row.altered")
def the_calibration_of_an_instrument(c: Opened) -> None:
    c.columns("instruments")["calibration_due_on"] = "2099-01-01"


@alteration("row.missing", "signed.tanks")
def a_tank_taken_out(c: Opened) -> None:
    c.rows("tanks in the batch").pop()
    c.recount()


@alteration("row.altered", "signed.tanks")
def a_tank_under_another_serial(c: Opened) -> None:
    c.columns("tanks")["serial"] = "T-00001"


@alteration("row.altered")
def the_oxidizer_strip_at_intake(c: Opened) -> None:
    c.columns("intake inspections")["oxidizer_strip"] = "strong"


@alteration("row.altered", "signed.identity")
def another_segregation_class(c: Opened) -> None:
    c.columns("batch")["segregation_class"] = "B"


@alteration("row.added_column")
def a_column_added(c: Opened) -> None:
    c.columns("releases")["checked_twice"] = True


@alteration("row.beside")
def a_column_beside_the_row(c: Opened) -> None:
    c.rows("releases")[0]["beside"]["remark"] = "all in order"


@alteration("row.shape")
def a_list_of_columns_shortened(c: Opened) -> None:
    shape = next(s for s in c.record["shapes"].values() if s["table"] == "batches_stepentry")
    shape["columns"] = [pair for pair in shape["columns"] if pair[0] != "value_as_typed"]
    for row in c.rows("entries"):
        row["columns"]["value_as_typed"] = "7"


@alteration("signed.rows")
def a_reading_said_to_be_elsewhere(c: Opened) -> None:
    rows = c.rows("rinse readings")
    gone = next(r for r in rows if r["columns"] is _standing(c, "rinse readings"))
    rows.remove(gone)
    c.record["elsewhere"].setdefault("batches_rinsereading", []).append(gone["key"])
    c.recount()


# --- signatures -----------------------------------------------------------------------------------------------------
@alteration("signature.altered", "row.altered")
def a_signature_moved_to_another_batch(c: Opened) -> None:
    c.columns("signatures")["record_key"] = "B-99999"


@alteration("signature.altered")
def a_signature_under_another_version(c: Opened) -> None:
    c.columns("signatures")["record_version"] += 7


@alteration("signature.altered", "decision.content")
def the_signed_verdict(c: Opened) -> None:
    row = _signature(c, "qc_decision")
    row["content"] = row["content"].replace('"verdict":"pass"', '"verdict":"fail"')


@alteration("decision.verdict")
def the_verdict_of_the_decision(c: Opened) -> None:
    c.columns("QC decisions")["verdict"] = "fail"


@alteration("signature.altered", "row.altered")
def a_signed_reading_and_the_decision_with_it(c: Opened) -> None:
    for row in (_signature(c, "qc_decision"), c.columns("QC decisions")):
        content = json.loads(row["content"])
        content["readings"][-1]["conductivity_25_siemens_per_m"] /= 2
        row["content"] = canonical_text(content)


@alteration("signature.name", "row.altered")
def a_signature_under_another_name(c: Opened) -> None:
    c.columns("signatures")["printed_name"] = "Nobody Known"


@alteration("decision.person", "release.person")
def two_signatures_exchanged(c: Opened) -> None:
    first, second = _signature(c, "qc_decision"), _signature(c, "release")
    first["person_id"], second["person_id"] = second["person_id"], first["person_id"]


@alteration("row.missing", "release.unsigned", "signature.missing")
def a_signature_taken_out(c: Opened) -> None:
    rows = c.rows("signatures")
    rows.remove(next(r for r in rows if r["columns"]["record_kind"] == "release"))
    c.recount()


@alteration("signature.nobody")
def a_signer_taken_off_the_list_of_people(c: Opened) -> None:
    signer = c.columns("signatures")["person_id"]
    c.record["people"] = [person for person in c.record["people"] if person["id"] != signer]


# --- acts -----------------------------------------------------------------------------------------------------------
@alteration("act.altered")
def an_act_by_another_person(c: Opened) -> None:
    _rewrite(c, c.index_of("batch.started"), actor_name="Nobody Known")


@alteration("act.altered")
def an_act_at_another_time(c: Opened) -> None:
    _rewrite(c, c.index_of("batch.started"), at="2026-01-01T00:00:00+00:00")


@alteration("act.link")
def an_act_rewritten_with_its_digest(c: Opened) -> None:
    index = c.index_of("batch.started")
    _rewrite(c, index, terminal="somewhere else")
    _redigest(c, index)


@alteration("act.altered")
def a_row_and_its_seal_rewritten(c: Opened) -> None:
    row = next(r for r in c.rows("entries") if r["columns"]["reason"])
    row["columns"]["reason"] = "a better reason"
    _reseal(c, "batches_stepentry", row)


@alteration("act.link")
def a_row_its_seal_and_the_act_rewritten(c: Opened) -> None:
    row = next(r for r in c.rows("entries") if r["columns"]["reason"])
    row["columns"]["reason"] = "a better reason"
    _redigest(c, _reseal(c, "batches_stepentry", row))


@alteration("act.order")
def two_acts_exchanged(c: Opened) -> None:
    index = c.index_of("batch.started")
    events = c.record["events"]
    events[index], events[index + 1] = events[index + 1], events[index]


@alteration("row.broken")
def an_act_taken_out(c: Opened) -> None:
    del c.record["events"][c.index_of("batch.resumed")]
    c.recount()


@alteration("act.order")
def an_act_played_twice(c: Opened) -> None:
    index = c.index_of("batch.started")
    c.record["events"].insert(index, copy.deepcopy(c.record["events"][index]))
    c.recount()


@alteration("act.place")
def an_act_under_another_number(c: Opened) -> None:
    c.record["events"][-1]["number"] += 1
    c.record["head"]["number"] += 5


@alteration("act.head")
def another_head_of_the_record(c: Opened) -> None:
    c.record["head"] = {"number": c.record["events"][-1]["number"], "digest": "0" * 64}


@alteration("act.beyond")
def a_head_before_the_last_act(c: Opened) -> None:
    c.record["head"]["number"] = 3


@alteration("count.acts")
def an_act_left_out_of_the_count(c: Opened) -> None:
    del c.record["events"][c.index_of("entry.written")]


# --- versions, plan, print --------------------------------------------------------------------------------------------
@alteration("plan.altered")
def the_plan(c: Opened) -> None:
    beside = c.rows("batch")[0]["beside"]
    beside["plan_text"] = beside["plan_text"].replace("0.3", "0.4", 1)


@alteration("row.altered", "signed.identity")
def the_plan_with_its_digest(c: Opened) -> None:
    the_plan(c)
    row = c.rows("batch")[0]
    row["columns"]["plan_digest"] = hashlib.sha256(row["beside"]["plan_text"].encode()).hexdigest()


@alteration("version.altered", "row.altered")
def a_limit_of_the_specification(c: Opened) -> None:
    row = c.columns("specification versions")
    row["content"] = row["content"].replace('"high":', '"high":1', 1)


@alteration("row.altered", "signed.identity")
def a_recipe_with_its_digest(c: Opened) -> None:
    row = c.columns("recipe versions")
    row["content"] = row["content"].replace('"name":"', '"name":"Better ', 1)
    row["digest"] = hashlib.sha256(row["content"].encode()).hexdigest()


@alteration("row.altered", "signed.identity")
def another_recipe_version_under_the_batch(c: Opened) -> None:
    c.columns("batch")["recipe_version_id"] = 424242


@alteration("scan.altered", "row.unwritten")
def a_scan_exchanged(c: Opened) -> None:
    columns = {"id": 1, "name": "form.png", "sha256": hashlib.sha256(b"what was scanned").hexdigest()}
    beside = {"content": base64.b64encode(b"something else").decode()}
    c.rows("scans of paper forms").append(
        {"key": "1", "columns": columns, "beside": beside, "history": "in part"}
    )
    c.recount()


@alteration("paper.altered")
def a_byte_of_the_print(c: Opened) -> None:
    c.files[PAPER] = c.files[PAPER].replace(b"%PDF-1.", b"%PDF-9.", 1)


@alteration("paper.unissued")
def another_print_named_in_the_record(c: Opened) -> None:
    c.files[PAPER] = b"%PDF-1.4 another print"
    c.record["paper"]["sha256"] = hashlib.sha256(c.files[PAPER]).hexdigest()


@alteration("paper.missing")
def the_print_taken_out(c: Opened) -> None:
    del c.files[PAPER]


# --- how they are made ------------------------------------------------------------------------------------------------
def _standing(c: Opened, part: str) -> dict[str, Any]:
    """The last row of a part that no other replaces."""
    replaced = {row["columns"]["replaces_id"] for row in c.rows(part)}
    return [row["columns"] for row in c.rows(part) if int(row["key"]) not in replaced][-1]


def _signature(c: Opened, kind: str) -> dict[str, Any]:
    return next(r["columns"] for r in c.rows("signatures") if r["columns"]["record_kind"] == kind)


def _rewrite(c: Opened, index: int, **change: Any) -> None:
    c.record["events"][index]["payload"] = canonical_text({**c.payload(index), **change})


def _redigest(c: Opened, index: int) -> None:
    event = c.record["events"][index]
    event["digest"] = hashlib.sha256(f"{event['previous']}\n{event['payload']}".encode()).hexdigest()


def _reseal(c: Opened, table: str, row: dict[str, Any]) -> int:
    """Write a row's new digest into the newest act that sealed it; the place of that act."""
    text = canonical_text({"table": table, "key": row["key"], "columns": row["columns"]})
    for index in reversed(range(len(c.record["events"]))):
        payload = c.payload(index)
        for name, sealed in payload.get("rows", {}).items():
            if name.startswith(f"{table}@") and row["key"] in sealed:
                before = sealed[row["key"]].partition(">")[0]
                sealed[row["key"]] = f"{before}>{hashlib.sha256(text.encode()).hexdigest()}"
                c.record["events"][index]["payload"] = canonical_text(payload)
                return index
    raise AssertionError(f"no act sealed {table} {row['key']}")


# --- the tests --------------------------------------------------------------------------------------------------------
def test_there_are_enough_kinds() -> None:
    assert len(ALTERATIONS) >= 50


@pytest.mark.parametrize("name", sorted(ALTERATIONS))
def test_an_altered_copy_is_found_out_and_named(opened: Opened, name: str) -> None:
    alter, codes = ALTERATIONS[name]
    alter(opened)
    found = {finding.code for finding in verify_copy.verify(opened.packed()).findings}
    assert codes <= found, f"{name}: named {sorted(found)}"


@pytest.mark.parametrize("name", sorted(ALTERATIONS)[::6])
def test_the_shipped_file_finds_it_in_a_process_of_its_own(opened: Opened, name: str, tmp_path: Path) -> None:
    alter, codes = ALTERATIONS[name]
    alter(opened)
    (tmp_path / "altered.zip").write_bytes(opened.packed())
    run = verified_alone(tmp_path, "altered.zip", opened.files["verify_copy.py"])
    assert run.returncode == 1
    assert "Does not hold" in run.stdout and all(f"({code})" in run.stdout for code in codes)


def test_the_list_of_digests_finds_what_was_not_mended(opened: Opened) -> None:
    opened.columns("entries")["reason"] = "a better reason"
    opened.files["READ-ME.txt"] += b"\nTrust this copy."
    found = [f.sentence for f in verify_copy.verify(opened.packed(mends_digests=False)).findings]
    assert [s for s in found if s.startswith(RECORD) and "was altered" in s]
    assert [s for s in found if s.startswith("READ-ME.txt") and "was altered" in s]


def test_a_file_beside_or_missing_is_named(opened: Opened) -> None:
    opened.files[DIGESTS] = opened.files[DIGESTS].replace(b"record.pdf", b"other.pdf")
    codes = {f.code for f in verify_copy.verify(opened.packed(mends_digests=False)).findings}
    assert {"file.unlisted", "file.missing"} <= codes


def test_another_spelling_of_the_same_record_is_named(opened: Opened) -> None:
    pretty = json.dumps(opened.record, indent=1).encode()
    files = {**opened.files, RECORD: pretty}
    assert "file.spelling" in {f.code for f in verify_copy.verify(scene.zipped(files)).findings}


def verified_alone(folder: Path, name: str, verifier: bytes, *more: str) -> subprocess.CompletedProcess[str]:
    """The verifier as it was shipped, by a fresh Python that knows nothing of ours."""
    script = folder / "verify_copy.py"
    script.write_bytes(verifier)
    return subprocess.run(
        [sys.executable, "-I", str(script), name, *more],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={},
    )
