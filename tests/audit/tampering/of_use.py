"""Falsifying the audit of use: prices, watch levels, a signed report, and the sums that are no record themselves."""

from __future__ import annotations

from tests.audit.tampering.ways import Record, altered, removed, way

altered("make a chemical cheaper", "use_chemicalprice", "milli_per_kg = 1", says="chemical price")
removed("delete a price", "use_chemicalprice", says="chemical price")
altered("widen the watch levels", "use_watchlevels", "batch_frac = 0.5", says="watch levels")
altered("widen the watch level of a measure", "use_measurelevel", "level = 1.9", says="measure level")
altered("edit a signed report of use", "use_usereport", "content = replace(content, '\"used_grams\":', '\"used_grams\":1')",
        says="use report UR-10001", and_says="use_report: What report UR-10001 says is not what was signed")  # fmt: skip


@way("say a batch took less in the audit of use")
def _(record: Record) -> str:
    record.run("UPDATE use_userow SET used_grams = used_grams - 1 WHERE number = %s", record.batch)
    return rf"(?s)(?=.*use: The audit of use of {record.batch}, .+ is not what the ledger says)(?=.*use: The month )"


@way("give a customer's share of a batch to nobody")
def _(record: Record) -> str:
    record.run("DELETE FROM use_useshare WHERE kind = 'customer'")
    return r"use: The audit of use of B-\d+, .+ is not the sum of its shares by customer"


@way("forget a batch in the audit of use")
def _(record: Record) -> str:
    rows = "SELECT id FROM use_userow WHERE number = %s"
    record.run(f"DELETE FROM use_useshare WHERE row_id IN ({rows})", record.batch)
    record.run("DELETE FROM use_userow WHERE number = %s", record.batch)
    return rf"use: Batch {record.batch} took chemicals, and the audit of use does not know it"
