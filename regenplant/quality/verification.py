"""Decisions and releases: signed by whom they name, over what the rows still say, and by nobody who took part."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.batches.models import Batch, MeterLog, RinseReading
from regenplant.core.process.lifecycle import AFTER_A_PASS, BatchState
from regenplant.quality.models import QcDecision, QcMeasurement, Release
from regenplant.quality.selectors import participants


def check_decisions(look: Look) -> Iterator[Finding]:
    """Each decision against its signature and against the readings and measurements it was signed over."""
    rows = QcDecision.objects.select_related("batch", "signature").defer("batch__plan_text")
    for row in rows.order_by("pk").iterator(200):
        look.saw()
        name = f"QC decision on batch {row.batch.number}"
        yield from _signed(name, row.signature, "qc_decision", row.batch.number, row.decided_by_id)
        if row.content != row.signature.content:
            yield Finding("decision", f"The content of the {name} is not what was signed.")
            continue
        content = json.loads(row.content)
        if content.get("verdict") != row.verdict:
            yield Finding("decision", f"The {name} reads {row.verdict}; {content.get('verdict')} was signed.")
        yield from _rows_as_signed(name, content)


def _rows_as_signed(name: str, content: dict[str, Any]) -> Iterator[Finding]:
    """The rows that were signed still say what was signed."""
    readings = {line["id"]: line for line in content.get("readings", [])}
    found = RinseReading.objects.in_bulk(readings)
    for pk, line in readings.items():
        row = found.get(pk)
        if row is None or row.conductivity_25_siemens_per_m != line["conductivity_25_siemens_per_m"]:
            yield Finding(
                "decision",
                f"The reading {line['as_typed']} of {line['at'][:16]} UTC is not as the {name} signed it.",
            )
    logs = {line["id"]: line for line in content.get("logs", [])}
    kept = MeterLog.objects.defer("received_text", "columns").in_bulk(logs)
    for pk, line in logs.items():
        log = kept.get(pk)
        if log is None or log.digest != line["digest"]:
            yield Finding(
                "decision",
                f"The log of {line['instrument']} from {line['from'][:16]} UTC is not as the {name} signed it.",
            )
    measured = {line["id"]: line for line in content.get("measurements", [])}
    values = QcMeasurement.objects.select_related("tank__visit__tank").in_bulk(measured)
    for pk, line in measured.items():
        value = values.get(pk)
        tank = value.tank.visit.tank.serial if value is not None and value.tank is not None else ""
        if value is None or (value.value, tank) != (line["value_si"], line.get("tank", "")):
            yield Finding(
                "decision",
                f"The measurement {line['key']} {line['as_typed']} is not as the {name} signed it.",
            )


def check_releases(look: Look) -> Iterator[Finding]:
    """Each release against its signature, and that nobody who took part signed it."""
    rows = Release.objects.select_related("batch", "signature", "released_by").defer("batch__plan_text")
    for row in rows.order_by("pk").iterator(200):
        look.saw()
        name = f"release of batch {row.batch.number}"
        yield from _signed(name, row.signature, "release", row.batch.number, row.released_by_id)
        if row.released_by_id in participants(row.batch):
            yield Finding(
                "release", f"The {name} is by {row.released_by.full_name}, who took part in that batch."
            )
    yield from _without(look)


def _without(look: Look) -> Iterator[Finding]:
    """Batches that stand where only a decision or a release brings them, without one."""
    batches = Batch.objects.defer("plan_text")
    passed = QcDecision.objects.filter(verdict="pass").values("batch")
    for batch in batches.filter(state__in=AFTER_A_PASS).exclude(pk__in=passed):
        yield Finding(
            "decision", f"Batch {batch.number} is {batch.get_state_display()} and no QC decision passed it."
        )
    for batch in batches.filter(state=BatchState.RELEASED).exclude(pk__in=Release.objects.values("batch")):
        yield Finding("release", f"Batch {batch.number} is released and nobody signed its release.")


def _signed(name: str, signature: Any, kind: str, key: str, person_id: int) -> Iterator[Finding]:
    if (signature.record_kind, signature.record_key) != (kind, key):
        yield Finding(
            "signature",
            f"The {name} bears a signature that was given on {signature.record_kind} {signature.record_key}.",
        )
    if signature.person_id != person_id:
        yield Finding(
            "signature", f"The {name} bears the signature of {signature.printed_name}, not of whom it names."
        )


register(Check("decision", "QC decisions", "QC decisions", check_decisions), place=70)
register(Check("release", "Releases", "releases", check_releases), place=71)
