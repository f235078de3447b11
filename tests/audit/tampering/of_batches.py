"""Falsifying what was written down, batches and tanks."""

from __future__ import annotations

import hashlib

from regenplant.batches.models import MeterLog
from regenplant.batches.points import digest_of, packed, unpacked
from tests.audit.tampering.ways import Record, altered, copied, removed, way

# --- what was written down ---------------------------------------------------------------------------------------------
_STEP = "step_id IN (SELECT id FROM batches_steprun WHERE batch_id = {batch})"
altered("edit a digit of an entry", "batches_stepentry", "value = value * 1.1",
        where=_STEP + " AND value IS NOT NULL AND unit_as_typed <> ''", says="step entry .+ of step run .+ of batch {record.batch}",
        and_says="entry: The value of .+ of batch {record.batch} is not what was typed")  # fmt: skip
altered("edit an entry and what was typed, so that they agree", "batches_stepentry",
        "value_as_typed = 'yes ', occurred_at = occurred_at", where=_STEP + " AND value_as_typed = 'yes'",
        says="step entry .+ of batch {record.batch}")  # fmt: skip
altered("let an entry lie within its limits", "batches_stepentry", "is_within = NOT is_within",
        where=_STEP + " AND is_within IS NOT NULL", says="step entry .+ of batch {record.batch}",
        and_says="entry: Whether .+ of batch {record.batch} lies within its limits was stored otherwise")  # fmt: skip
altered("widen the limits of an entry", "batches_stepentry", "high = high * 2", where=_STEP + " AND high IS NOT NULL",
        says="step entry .+ of batch {record.batch}")  # fmt: skip
altered("back-date an entry", "batches_stepentry", "occurred_at = '2020-01-01 00:00:00+00:00'", where=_STEP,
        says="step entry .+ of batch {record.batch}")  # fmt: skip
altered("put an entry into another hand", "batches_stepentry", "entered_by_id = 1", where=_STEP,
        says="step entry .+ of batch {record.batch}")  # fmt: skip
removed("delete an entry", "batches_stepentry", where=_STEP, says="step entry")
copied(
    "insert an entry",
    "batches_stepentry",
    but="value_as_typed='no'",
    where=_STEP,
    says="step entry .+ of batch {record.batch}",
)

_OWN = "batch_id = {batch}"
altered("edit a digit of a reading", "batches_rinsereading", "conductivity_siemens_per_m = conductivity_siemens_per_m * 0.9",
        where=_OWN, says="rinse reading .+ of batch {record.batch}",
        and_says="reading: The value of the reading .+ of batch {record.batch}.* is not what was typed")  # fmt: skip
altered("edit what a reading comes to at 25 °C", "batches_rinsereading",
        "conductivity_25_siemens_per_m = conductivity_25_siemens_per_m * 0.5", where=_OWN, says="rinse reading .+ of batch {record.batch}",
        and_says="reading: The reading .+ of batch {record.batch}.* comes out otherwise at 25 °C(?s:.*)"
        "decision: The reading .+ is not as the QC decision on batch {record.batch} signed it")  # fmt: skip
altered("edit the temperature of a reading", "batches_rinsereading", "temperature_kelvin = temperature_kelvin + 5", where=_OWN,
        says="rinse reading .+ of batch {record.batch}", and_says="reading: The temperature of the reading")  # fmt: skip
altered("let a reading of an overdue cell count", "batches_rinsereading", "instrument_was_valid = NOT instrument_was_valid",
        where=_OWN, says="rinse reading .+ of batch {record.batch}")  # fmt: skip
altered("move a reading to another step", "batches_rinsereading", "step_id = step_id - 1", where=_OWN,
        says="rinse reading .+ of batch {record.batch}")  # fmt: skip
removed("delete a reading", "batches_rinsereading", where=_OWN, says="rinse reading",
        and_says="decision: The reading .+ is not as the QC decision on batch {record.batch} signed it")  # fmt: skip
copied("insert a better reading", "batches_rinsereading", but="value_as_typed='0.06'", where=_OWN,
       says="rinse reading .+ of batch {record.batch}")  # fmt: skip

altered("edit the text of a log as received", "batches_meterlog", "received_text = REPLACE(received_text, ';9', ';8')", where=_OWN,
        says="meter log .+ of batch {record.batch}",
        and_says="log: What was received, or was worked out of it, no longer fits the digest of the log")  # fmt: skip
altered("let the log of an overdue cell count", "batches_meterlog", "instrument_was_valid = NOT instrument_was_valid", where=_OWN,
        says="meter log .+ of batch {record.batch}")  # fmt: skip
altered(
    "move a log to another step",
    "batches_meterlog",
    "step_id = step_id - 1",
    where=_OWN,
    says="meter log .+ of batch {record.batch}",
)
altered("say a meter sent what a person handed in", "batches_meterlog", "source = 'http'", where=_OWN,
        says="meter log .+ of batch {record.batch}")  # fmt: skip
_LOG = "log_id IN (SELECT id FROM batches_meterlog WHERE batch_id = {batch})"
altered(
    "set more of a log aside",
    "batches_meterlogsetaside",
    "from_at = NULL, until_at = NULL",
    where=_LOG,
    says="meter log set aside",
)
removed(
    "let a stretch count that was set aside",
    "batches_meterlogsetaside",
    where=_LOG,
    says="meter log set aside",
)
copied(
    "set a log aside in another hand",
    "batches_meterlogsetaside",
    but="set_aside_by_id=1",
    where=_LOG,
    says="meter log set aside",
)


@way("edit the columns of a log and fit its digest")
def _(record: Record) -> str:
    log = MeterLog.objects.get(batch_id=record.batch_id)
    at_s, rinsed, shown, kelvin, at_25 = unpacked(log)
    columns = packed((at_s, rinsed, 0.1 * shown, kelvin, 0.1 * at_25))
    record.run(
        "UPDATE batches_meterlog SET columns = %s, digest = %s WHERE id = %s",
        columns, digest_of(log.received_text, columns), log.pk,
    )  # fmt: skip
    return (
        rf"(?s)(?=.*row: The meter log .*of batch {record.batch} .*is not as event)"
        r"(?=.*log: The log .*holds 20 readings that were not received so)"
        rf"(?=.*decision: The log of CELL from .* is not as the QC decision on batch {record.batch} signed it)"
    )


# --- batches ------------------------------------------------------------------------------------------------------------
_BATCH = "id = {batch}"
altered("move a batch to another state", "batches_batch", "state = 'released'", where=_BATCH, says="batch {record.batch}",
        and_says="release: Batch {record.batch} is released and nobody signed its release")  # fmt: skip
altered("swap the recipe version of a batch", "batches_batch",
        "recipe_version_id = (SELECT MIN(id) FROM recipes_recipeversion WHERE id <> recipe_version_id)", where=_BATCH,
        says="batch {record.batch}", and_says="plan: Batch {record.batch} names recipe")  # fmt: skip
altered("swap the specification version of a batch", "batches_batch",
        "specification_version_id = (SELECT MIN(id) FROM recipes_specificationversion WHERE id <> specification_version_id)",
        where=_BATCH, says="batch {record.batch}")  # fmt: skip
altered("edit the resin volume of a batch", "batches_batch", "resin_volume_m3 = resin_volume_m3 * 1.5", where=_BATCH,
        says="batch {record.batch}", and_says="plan: Batch {record.batch} names .+ of resin, its plan was frozen for")  # fmt: skip
altered("give a batch another class", "batches_batch", "segregation_class = 'C'", where=_BATCH, says="batch {record.batch}",
        and_says="plan: Batch {record.batch} names class C, its plan was frozen for class D")  # fmt: skip
altered(
    "say another person planned a batch",
    "batches_batch",
    "planned_by_id = 1",
    where=_BATCH,
    says="batch {record.batch}",
)


@way("edit a digit of a frozen plan")
def _(record: Record) -> str:
    record.run(
        "UPDATE batches_batch SET plan_text = REPLACE(plan_text, '0.3', '0.4') WHERE number = %s",
        record.batch,
    )
    return rf"plan: The frozen plan of batch {record.batch} no longer fits its digest\."


@way("edit a frozen plan and fit its digest")
def _(record: Record) -> str:
    text = record.one("SELECT plan_text FROM batches_batch WHERE number = %s", record.batch).replace(
        "0.3", "0.4"
    )
    record.run(
        "UPDATE batches_batch SET plan_text = %s, plan_digest = %s WHERE number = %s",
        text, hashlib.sha256(text.encode()).hexdigest(), record.batch,
    )  # fmt: skip
    return rf"row: The batch {record.batch}.* is not as event"


@way("give a batch another number")
def _(record: Record) -> str:
    record.run("UPDATE batches_batch SET number = 'B-10009' WHERE number = %s", record.batch)
    return r"row: The batch B-10009.* is not as event"


altered("open a finished step again", "batches_steprun", "state = 'running', finished_at = NULL", where=_OWN + " AND state = 'done'",
        says="step run .+ of batch {record.batch}")  # fmt: skip
altered("say another person finished a step", "batches_steprun", "finished_by_id = 1", where=_OWN,
        says="step run .+ of batch {record.batch}")  # fmt: skip
removed("take a step out of a batch", "batches_steprun", where=_OWN + " AND number = 2", says="step run",
        and_says="number: Step 2 is missing in batch {record.batch}")  # fmt: skip
altered("edit the volume of a tank in a batch", "batches_batchtank", "resin_volume_m3 = resin_volume_m3 * 0.5", where=_OWN,
        says="batch tank .+ of batch {record.batch}")  # fmt: skip
removed("take a tank out of a batch", "batches_batchtank", where=_OWN + " AND position = 2", says="batch tank",
        and_says="number: Tank position 2 is missing in batch {record.batch}")  # fmt: skip
altered("lower the severity of a deviation", "batches_deviation", "severity = 'minor'", says="deviation D-")
removed(
    "delete a deviation",
    "batches_deviation",
    says="deviation",
    and_says="number: Deviation D-1001 is missing in the record",
)


# --- tanks --------------------------------------------------------------------------------------------------------------
altered("move a visit to another state", "tanks_tankvisit", "state = 'shipped'", says="tank visit V-")
altered(
    "say another reason for a return", "tanks_tankvisit", "return_reason = 'recall'", says="tank visit V-"
)
removed("delete a visit", "tanks_tankvisit", where="id = (SELECT MIN(id) + 1 FROM tanks_tankvisit)", says="tank visit",
        and_says=r"visit: Visit V-\d+ is missing in the record")  # fmt: skip
altered("give a tank another serial", "tanks_tank", "serial = 'T-1'", says="tank T-1")
altered("give a tank another class", "tanks_tank", "segregation_class = 'B'", says="tank T-")
altered("let an inspection have found something", "tanks_intakeinspection", "oxidizer_strip = 'strong'",
        says="intake inspection .+ of tank visit V-")  # fmt: skip
altered(
    "clear what stops a tank",
    "tanks_intakeinspection",
    """findings_that_stop = '["none"]'""",
    says="intake inspection .+ of tank visit V-",
)
