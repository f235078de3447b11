"""Falsifying decisions, chemicals, recipes, people and papers."""

from __future__ import annotations

import hashlib

from django.db import connection

from regenplant.audit.locks import Lock
from tests.audit.frozen_rows import row_for
from tests.audit.tampering.ways import Record, altered, copied, removed, way

_OWN = "batch_id = {batch}"

# --- quality ------------------------------------------------------------------------------------------------------------
altered("edit a digit of a QC measurement", "quality_qcmeasurement", "value = value * 0.1", where=_OWN,
        says="qc measurement .+ of batch {record.batch}",
        and_says="decision: The measurement .+ is not as the QC decision on batch {record.batch} signed it")  # fmt: skip
altered("put a QC measurement of the batch under one tank", "quality_qcmeasurement",
        "tank_id = (SELECT MIN(t.id) FROM batches_batchtank t WHERE t.batch_id = quality_qcmeasurement.batch_id)", where=_OWN,
        says="qc measurement .+ of batch {record.batch}",
        and_says="decision: The measurement .+ is not as the QC decision on batch {record.batch} signed it")  # fmt: skip
removed("delete a QC measurement", "quality_qcmeasurement", where=_OWN, says="qc measurement")
altered("turn a verdict round", "quality_qcdecision", "verdict = 'fail', reason = 'turned round'", where=_OWN, says="qc decision .+ of batch {record.batch}",
        and_says="decision: The QC decision on batch {record.batch} reads fail; pass was signed")  # fmt: skip
altered("say another person decided", "quality_qcdecision", "decided_by_id = 1", where=_OWN, says="qc decision .+ of batch {record.batch}",
        and_says="signature: The QC decision on batch {record.batch} bears the signature of .+, not of whom it names")  # fmt: skip


@way("move a signature to another decision")
def _(record: Record) -> str:
    first, second = record.facts["decisions"]
    for decision, signature in (
        (first, None),
        (second, record.one("SELECT signature_id FROM quality_qcdecision WHERE id = %s", first)),
    ):
        if signature is not None:
            spare = record.one("SELECT signature_id FROM quality_qcdecision WHERE id = %s", decision)
            record.run("UPDATE quality_qcdecision SET signature_id = -1 WHERE id = %s", first)
            record.run("UPDATE quality_qcdecision SET signature_id = %s WHERE id = %s", signature, decision)
            record.run("UPDATE quality_qcdecision SET signature_id = %s WHERE id = %s", spare, first)
    return rf"signature: The QC decision on batch B-\d+ bears a signature that was given on qc_decision {record.batch}\."


@way("forge a release")
def _(record: Record) -> str:
    signature, person = record.one(
        "SELECT id, person_id FROM people_signature WHERE record_key = %s", record.batch
    )
    row_for(
        Lock("quality_release"), batch_id=record.batch_id, released_by_id=person, signature_id=signature, version=1, replaces_id=None,
        reason="",
    )  # fmt: skip
    return (
        rf"(?s)(?=.*row: The release .*of batch {record.batch} .*stands in the record and no act wrote it)"
        rf"(?=.*signature: The release of batch {record.batch} bears a signature that was given on qc_decision)"
    )


altered("edit what was signed", "people_signature", "content = REPLACE(content, '25', '26')", where="record_kind = 'qc_decision'", says="signature .+",
        and_says=r"signature: The signature of .+ on qc_decision B-\d+ no longer fits what was signed")  # fmt: skip
altered("put a signature into another hand", "people_signature", "person_id = 1", says="signature .+")
altered(
    "print another name under a signature",
    "people_signature",
    "printed_name = 'Somebody Else'",
    says="signature .+",
)
altered(
    "back-date a signature",
    "people_signature",
    "signed_at = '2020-01-01 00:00:00+00:00'",
    says="signature .+",
)
altered("sign another record with the same signature", "people_signature", "record_key = 'B-99999'", where="record_kind = 'qc_decision'", says="signature .+",
        and_says="signature: The signature of .+ on qc_decision B-99999 no longer fits what was signed")  # fmt: skip
copied("copy a signature", "people_signature", but="record_kind='release'", where="record_kind = 'qc_decision'", says="signature .+",
       and_says="signature: The signature of .+ on release .+ no longer fits what was signed")  # fmt: skip
removed("delete a signature", "people_signature", says="signature")


altered("edit the volume of a retained sample", "quality_retainedsample", "volume_m3 = volume_m3 * 2", where=_OWN,
        says="retained sample RS-1001",
        and_says=r"sample: The volume of sample RS-1001 is not what was typed, 0\.5 L")  # fmt: skip
altered("let a sample be due earlier", "quality_retainedsample", "keep_until = '2020-01-01'", where=_OWN,
        says="retained sample RS-1001")  # fmt: skip
removed("delete a retained sample", "quality_retainedsample", where=_OWN, says="retained sample",
        and_says="number: Sample RS-1001 is missing in the record")  # fmt: skip
altered("say a sample was due that was used up", "quality_samplediscard", "why = 'due', discarded_at = '2020-01-01 00:00:00+00:00'",
        says="sample discard .+", and_says=r"sample: Sample RS-1002 was discarded as due before its day")  # fmt: skip
removed("take back a discard", "quality_samplediscard", says="sample discard")


# --- chemicals and resins -----------------------------------------------------------------------------------------------
altered("edit a mass in the ledger", "chemicals_movement", "grams_100 = grams_100 + 1000", says="movement 1")
removed("delete a movement", "chemicals_movement", where="number = 2", says="movement",
        and_says="ledger: Movement 2 is missing in the chemical ledger")  # fmt: skip
copied(
    "insert a movement",
    "chemicals_movement",
    but="number=(SELECT MAX(number) + 1 FROM chemicals_movement)",
    says="movement .+",
)
altered("turn a movement round", "chemicals_movement", "from_place_id = to_place_id, to_place_id = from_place_id", says="movement 1",
        and_says="ledger: After movement 1 .+ less than nothing")  # fmt: skip
altered("move another chemical", "chemicals_movement", "chemical = CASE chemical WHEN 'naoh' THEN 'hcl' ELSE 'naoh' END",
        says="movement 1", and_says="ledger: Movement 1 moves .+, its lot .+ is")  # fmt: skip
altered("edit what a count found", "chemicals_stockcount", "found_grams_100 = found_grams_100 + 500000", says="stock count C-10001",
        and_says="stock_count: What count C-10001 found does not follow from its level")  # fmt: skip
altered("edit the level of a count", "chemicals_stockcount", "level_m = level_m + 0.1", says="stock count C-10001",
        and_says="stock_count: What count C-10001 found does not follow from its level")  # fmt: skip
altered("say who booked a difference counted it", "chemicals_stockcount",
        "counted_by_id = (SELECT moved_by_id FROM chemicals_movement WHERE reference = 'C-10001')", says="stock count C-10001",
        and_says="stock_count: Movement .+ books what count C-10001 found, by the person who counted it")  # fmt: skip
removed("delete a count", "chemicals_stockcount", says="stock count")
altered("widen a tank", "chemicals_tankgeometry", "diameter_m = diameter_m * 1.1", says="tank geometry .+",
        and_says="stock_count: What count C-10001 found does not follow from its level")  # fmt: skip
altered(
    "edit a checked strength",
    "chemicals_strengthcheck",
    "strength_frac = strength_frac * 0.9",
    says="strength check .+ of chemical lot",
)
altered(
    "edit the strength on a certificate",
    "chemicals_chemicallot",
    "certificate_strength_frac = 0.5",
    says="chemical lot .+",
)
altered(
    "put another lot in use", "chemicals_chemicallot", "is_in_use = NOT is_in_use", says="chemical lot .+"
)
altered(
    "edit the size of a place",
    "chemicals_place",
    "low_stock_grams_100 = low_stock_grams_100 + 1",
    says="place .+",
)
altered("make a spill smaller", "chemicals_spillfigure", "grams_100 = 1, product_grams = 2", says="spill figure .+",
        and_says="spill: Figure 1 of spill SP-10001 is not what left the tank")  # fmt: skip
altered("say that a spill stayed in its bund", "chemicals_spill", "reached = 'drain'", says="spill .+")
altered(
    "raise a reporting threshold",
    "chemicals_thresholdfigure",
    "limit_grams = limit_grams * 10",
    says="threshold figure .+",
)
altered(
    "lower a level in the waste ledger",
    "waste_wastemovement",
    "level_m3 = level_m3 * 0.5",
    where="kind = 'drain'",
    says="waste movement .+",
    and_says="waste: After waste movement .+ the level of .+ is not what stood there",
)
removed("delete a row of the waste ledger", "waste_wastemovement", where="kind = 'drain'", says="waste movement",
        and_says="waste: Waste movement .+ is missing in the ledger")  # fmt: skip
altered(
    "say a step drained less",
    "waste_stepdrain",
    "waste_m3 = waste_m3 * 0.5",
    where="destination = 'neutralization'",
    says="step drain .+",
    and_says="drain: What step .+ drained is not what came into the waste tank",
)
altered("edit the volume of a resin lot", "resins_resinlot", "volume_m3 = volume_m3 * 2", says="resin lot .+")
altered("edit the cycles of a resin lot", "resins_resinlot", "cycles = cycles + 7", says="resin lot .+")
altered(
    "edit of which deliveries a resin lot consists",
    "resins_resinlot",
    """parts = '[["L-0", 1.0, 0.0, 0, 0, true]]'""",
    says="resin lot .+",
    and_says="lot: Resin lot .+ states other parts than the lots that went in",
)
altered(
    "edit what came into the store of resin",
    "resins_lotmovement",
    "exhausted_m3 = exhausted_m3 * 0.1",
    where="kind = 'received'",
    says="lot movement .+",
    and_says="lot: Of resin lot N-1 .+ L less than nothing stand in the store",
)
altered(
    "edit what a bed was topped up with",
    "batches_batchtopup",
    "added_m3 = added_m3 * 2",
    where=_OWN,
    says="batch top up .+",
)
removed("delete a movement of resin", "resins_lotmovement", says="lot movement")
altered(
    "edit the capacity of a resin type",
    "resins_resintype",
    "operating_capacity_eq_per_m3 = 2000.0",
    says="resin type .+",
)


# --- recipes and limits ---------------------------------------------------------------------------------------------------
altered("edit an approved recipe", "recipes_recipeversion", "content = REPLACE(content, '1', '2')", says="recipe version 1 of recipe .+",
        and_says="version: The recipe version 1 of recipe .+ no longer fits its digest")  # fmt: skip


@way("edit an approved recipe and fit its digest")
def _(record: Record) -> str:
    key = record.some("recipes_recipeversion")
    content = record.one("SELECT content FROM recipes_recipeversion WHERE id = %s", key).replace("1", "2")
    record.run(
        "UPDATE recipes_recipeversion SET content = %s, digest = %s WHERE id = %s",
        content, hashlib.sha256(content.encode()).hexdigest(), key,
    )  # fmt: skip
    return r"row: The recipe version 1 of recipe .+ is not as event"


altered(
    "approve a recipe oneself",
    "recipes_recipeversion",
    "approved_by_id = made_by_id + 1, reason = 'x'",
    says="recipe version .+",
)
altered("let a specification hold from another day", "recipes_specificationversion", "effective_from = '2020-01-01 00:00:00+00:00'",
        says="specification version .+ of specification")  # fmt: skip
removed("delete a specification version", "recipes_specificationversion", says="specification version")
altered("change a limit of the plant", "plant_plantprofile", "permit_ph_high = 12.0", says="plant profile .+")
altered("extend a calibration", "plant_instrument", "calibration_due_on = '2099-01-01'", says="instrument .+",
        and_says="instrument: Instrument .+ does not stand as its calibrations say")  # fmt: skip
altered("say a calibration found it outside", "plant_calibration", "found_within = FALSE", says="calibration .+",
        and_says="calibration: The calibration of .+ does not say what its points say")  # fmt: skip
altered(
    "extend a calibration and its row", "plant_calibration", "due_on = '2099-01-01'", says="calibration .+"
)
removed("delete a calibration", "plant_calibration", says="calibration")
altered("say a vessel is flushed", "plant_vessel", "is_flushed = NOT is_flushed", says="vessel .+")
altered("lift a lock-out", "plant_vessel", "lock_out_reason = 'x'", says="vessel .+")


# --- people -------------------------------------------------------------------------------------------------------------
altered(
    "swap a password",
    "people_person",
    "password = 'md5$salt$0'",
    where="username = 'operator-1'",
    says="person operator-1",
)
altered(
    "take an account back into use",
    "people_person",
    "is_active = NOT is_active",
    where="username = 'operator-1'",
    says="person operator-1",
)
altered(
    "give an account another name",
    "people_person",
    "full_name = 'Somebody Else'",
    where="username = 'operator-1'",
    says="person operator-1",
)
altered(
    "make an account a superuser",
    "people_person",
    "is_superuser = NOT is_superuser",
    where="username = 'operator-1'",
    says="person operator-1",
)
altered(
    "rename a role",
    "auth_group",
    "name = 'supervisors'",
    where="name = 'supervisor'",
    says="group supervisors",
)


@way("give a person a role")
def _(record: Record) -> str:
    record.run(
        "INSERT INTO people_person_groups (person_id, group_id) SELECT p.id, g.id FROM people_person p, auth_group g "
        "WHERE p.username = 'operator-1' AND g.name = 'supervisor'"
    )
    return r"row: The .+ of person operator-1 in group supervisor stands in the record and no act wrote it\."


@way("take a role from a person")
def _(record: Record) -> str:
    key = record.one(
        "SELECT MIN(m.id) FROM people_person_groups m JOIN people_person p ON p.id = m.person_id WHERE p.username = 'operator-1'"
    )
    record.run("DELETE FROM people_person_groups WHERE id = %s", key)
    return rf"row: The .+ {key} of Operator 1 was removed without an act"


@way("add an account")
def _(record: Record) -> str:
    with connection.cursor() as cursor:
        columns = [c.name for c in connection.introspection.get_table_description(cursor, "people_person")]
    shown = ", ".join(
        {"id": "id + 1000", "username": "'backdoor'"}.get(name, f'"{name}"') for name in columns
    )
    names = ", ".join(f'"{name}"' for name in columns)
    record.run(
        f"INSERT INTO people_person ({names}) SELECT {shown} FROM people_person WHERE username = 'operator-1'"
    )
    return r"row: The person backdoor stands in the record and no act wrote it\."


# --- papers ---------------------------------------------------------------------------------------------------------------
altered("edit the hash of a paper", "documents_issuedpaper", "sha256 = 'x'", says="issued paper .+")
removed("delete the first issue of a paper", "documents_issuedpaper", where="issue_number = 1", says="issued paper",
        and_says="paper: Issue 1 is missing of the batch sheet of {record.batch}")  # fmt: skip


@way("put bytes into a row that are no text")
def _(record: Record) -> str:
    what = "CAST(X'ff41' AS TEXT)" if connection.vendor == "sqlite" else "chr(65533)"
    record.run(f"UPDATE plant_plantprofile SET name = {what}")
    return r"row: The plant profile .+ is not as event \d+"


@way("put a word where a number stands")
def _(record: Record) -> str:
    if connection.vendor == "sqlite":
        record.run("UPDATE batches_batch SET resin_volume_m3 = 'much' WHERE number = %s", record.batch)
    else:
        record.run("UPDATE batches_batch SET resin_volume_m3 = 'NaN' WHERE number = %s", record.batch)
    return rf"row: The batch {record.batch}.* is not as event \d+"
