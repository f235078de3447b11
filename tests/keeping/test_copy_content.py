"""What a complete copy holds, and that it verifies whatever state the batch is in."""

from __future__ import annotations

import ast
import json
import sys

import pytest
from django.apps import apps
from django.contrib.auth import get_user_model
from django.db import connection
from django.db.models import Model

from regenplant.audit import sealed
from regenplant.audit.selectors import chain_head, events_about
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.keeping import verify_copy
from regenplant.keeping.copy import Made, batch_copy
from regenplant.keeping.nothing import Nothing
from regenplant.keeping.parts import LEFT_OUT, Part, part_of, parts
from regenplant.tanks.models import Tank
from tests import factories
from tests.house.tree import ROOT
from tests.keeping import scene
from tests.keeping.scene import Opened

pytestmark = pytest.mark.requirement("ER-23")


# --- the list of parts ------------------------------------------------------------------------------------------------
def pointing_to_batch() -> list[type[Model]]:
    """Every model with a foreign key to a batch, straight or over models that have one."""
    found: set[type[Model]] = {Batch}
    while True:
        more = {
            model
            for model in apps.get_models()
            if model not in found
            and any(
                f.is_relation and f.related_model in found for f in model._meta.concrete_fields
            )
        }  # fmt: skip
        if not more:
            return sorted(found, key=lambda model: model._meta.label)
        found |= more


def unlisted(models: list[type[Model]], listed: set[str]) -> list[str]:
    return [m._meta.label for m in models if m._meta.label not in listed and m._meta.label not in LEFT_OUT]


def test_every_model_that_points_to_a_batch_is_a_part() -> None:
    assert len(pointing_to_batch()) >= 9
    assert unlisted(pointing_to_batch(), {part.label for part in parts()}) == []


def test_a_model_that_is_in_no_line_is_named() -> None:
    listed = {part.label for part in parts()} - {"batches.Hold", "batches.StepEntry"}
    whole = unlisted(pointing_to_batch(), {part.label for part in parts()})
    more = [label for label in unlisted(pointing_to_batch(), listed) if label not in whole]
    assert more == ["batches.Hold", "batches.StepEntry"]


def test_every_model_a_part_points_to_is_a_part_or_said_to_be_left_out() -> None:
    person = get_user_model()
    gone = {
        f"{part.label}.{field.name}"
        for part in parts()
        for field in part.model._meta.concrete_fields
        if field.is_relation
        and field.related_model is not person
        and part_of(field.related_model) is None
        and field.related_model._meta.label not in LEFT_OUT
    }
    assert gone == set()


@pytest.mark.parametrize("part", parts(), ids=lambda part: part.name)
def test_a_part_is_sealed_and_its_ways_to_the_batch_exist(part: Part) -> None:
    assert part.table in sealed.tables()
    for name in (*part.belongs_to,):
        assert part_of(part.model._meta.get_field(name).related_model) is not None
    for lookup in part.hangs_on:
        assert part.model._default_manager.filter(**{f"{lookup}__isnull": True}).query is not None


# --- the content ------------------------------------------------------------------------------------------------------
def test_the_copy_holds_everything_that_happened(opened: Opened) -> None:
    counts = opened.record["counts"]["parts"]
    assert counts["entries"] > 15 and counts["rinse readings"] > 5
    assert counts["steps"] == len(opened.rows("steps")) == 7
    assert (counts["holds"], counts["QC decisions"], counts["releases"]) == (1, 1, 1)
    assert counts["deviations"] >= 1 and counts["checks of entries"] >= 2
    assert counts["tanks in the batch"] == counts["visits"] == counts["intake inspections"] == 3
    assert counts["signatures"] >= 2 and counts["chemical movements"] >= 1
    assert counts["papers issued"] == 1
    assert {row["columns"]["code"] for row in opened.rows("chemical lots")} == {"LOT-HCL"}
    assert {row["columns"]["code"] for row in opened.rows("instruments")} == {"CELL", "KIT"}


def test_first_values_stay_beside_the_corrected_ones(opened: Opened) -> None:
    for part in ("entries", "rinse readings", "measurements"):
        by_key = {row["key"]: row["columns"] for row in opened.rows(part)}
        corrected = [row for row in by_key.values() if row["replaces_id"]]
        assert len(corrected) == 1 and len(corrected[0]["reason"]) > 10
        assert by_key[str(corrected[0]["replaces_id"])]["value_as_typed"] != corrected[0]["value_as_typed"]


def test_plan_recipe_and_specification_are_whole(opened: Opened) -> None:
    plan = json.loads(opened.rows("batch")[0]["beside"]["plan_text"])
    assert len(plan["steps"]) == 7 and plan["request"]["recipe"]["code"] == "H-HCL-100"
    assert json.loads(opened.columns("recipe versions")["content"])["steps"]
    assert json.loads(opened.columns("specification versions")["content"])["limits"]
    meanings = {row["columns"]["id"]: row["columns"]["meaning"] for row in opened.rows("signatures")}
    for part, what in (
        ("recipe versions", "recipe H-HCL-100"),
        ("specification versions", "specification Q-H"),
    ):
        assert meanings[opened.columns(part)["signature_id"]] == f"approval of {what} version 1"


def test_times_are_utc_and_the_zone_of_the_plant_is_named(opened: Opened) -> None:
    assert opened.record["made"]["zone"] == "UTC"
    times = [row["columns"]["entered_at"] for row in opened.rows("entries")]
    assert times and all(time.endswith("+00:00") and len(time) == 32 for time in times)


@pytest.mark.requirement("ER-11")
def test_three_kinds_of_nothing_have_three_codes(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SETTLE)
    left = {line["why"] for line in json.loads(batch_copy(batch.number))["not_written"]}
    assert left == {Nothing.NOT_YET.value, Nothing.NOT_DONE.value}
    assert len({kind.value for kind in Nothing}) == len({kind.label for kind in Nothing}) == 3


def test_nobodys_password_or_session_is_in_it(copy_bytes: bytes, opened: Opened) -> None:
    assert set(opened.record["people"][0]) == {"id", "user_name", "full_name", "initials", "is_active"}
    text = opened.files["record.json"].decode()
    assert "password" not in text and "argon2" not in text and "md5$" not in text


def test_the_audit_trail_is_whole(plant: factories.SmallPlant, batch: Batch) -> None:
    """Every act about the batch, its deviations, its visits and its chemical is in it, word for word."""
    record = json.loads(batch_copy(batch.number))
    copied = {event["number"]: event["payload"] for event in record["events"]}
    subjects = [("batch", batch.number)]
    subjects += [("tank_visit", link.visit.number) for link in batch.tank_links.select_related("visit")]
    subjects += [("deviation", number) for number in batch.deviations.values_list("number", flat=True)]
    acts = list(events_about(subjects))
    assert len(acts) > 60
    assert all(copied[act.number] == act.payload for act in acts)
    assert record["head"] == dict(zip(("number", "digest"), chain_head(), strict=True))


def test_an_unknown_batch_is_refused(db: None) -> None:
    with pytest.raises(RecordRefused, match="no batch B-4242"):
        batch_copy("B-4242")


def test_the_same_record_gives_the_same_bytes(plant: factories.SmallPlant, ready: Batch) -> None:
    made = Made(at="2026-03-02T08:00:00+00:00", by="Somebody")
    assert batch_copy(ready.number, made) == batch_copy(ready.number.lower(), made)


# --- it verifies --------------------------------------------------------------------------------------------------------
def test_an_untouched_copy_holds(copy_bytes: bytes) -> None:
    result = verify_copy.verify(copy_bytes)
    assert result.findings == []
    assert len(result.looked_at) >= 8


KINDS = [StepKind.LOAD, StepKind.INJECT, StepKind.FAST_RINSE]


@pytest.mark.parametrize("kind", KINDS, ids=[kind.value for kind in KINDS])
def test_a_batch_under_way_is_copied_as_it_stands(plant: factories.SmallPlant, kind: StepKind) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, kind)
    result = verify_copy.verify(batch_copy(batch.number))
    assert result.findings == [] and result.record["parts"]["releases"]["rows"] == []


def test_tanks_that_went_on_do_not_falsify_an_old_copy(plant: factories.SmallPlant, batch: Batch) -> None:
    """Later acts about the same tanks, vessel and lots belong to the copy only as far as they wrote its rows."""
    factories.frozen_batch(plant, "sac_h")
    scene.copied(plant, batch)
    assert verify_copy.verify(batch_copy(batch.number)).findings == []


def test_a_row_changed_behind_the_record_is_found_in_the_copy(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    """A copy of a record that was tampered with says so itself."""
    from regenplant.audit import locks

    locks.remove()
    try:
        with connection.cursor() as cursor:
            cursor.execute("UPDATE tanks_intakeinspection SET oxidizer_strip = 'slight'")
    finally:
        locks.install()
    found = verify_copy.verify(batch_copy(ready.number)).findings
    assert {finding.code for finding in found} == {"row.altered"} and len(found) == 3


def test_a_tank_of_another_batch_is_not_in_it(plant: factories.SmallPlant, ready: Batch) -> None:
    other = factories.accepted_tanks(plant, "sac_na", 1)[0]
    record = json.loads(batch_copy(ready.number))
    serials = {row["columns"]["serial"] for row in record["parts"]["tanks"]["rows"]}
    assert Tank.objects.get(pk=other.tank_id).serial not in serials and len(serials) == 3


# --- the verifier stands alone --------------------------------------------------------------------------------------------
VERIFIER = ROOT / "regenplant" / "keeping" / "verify_copy.py"


def test_the_verifier_imports_the_standard_library_only() -> None:
    tree = ast.parse(VERIFIER.read_text("utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert names and all(name.split(".")[0] in sys.stdlib_module_names for name in names)


def test_the_verifier_is_written_for_an_older_python() -> None:
    assert ast.parse(VERIFIER.read_text("utf-8"), feature_version=(3, 9))
