"""Discharges, excursions and monthly reports against their signatures."""

from __future__ import annotations

import json
from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.core.process.canonical import digest
from regenplant.people.models import Signature
from regenplant.waste.discharge_models import Discharge
from regenplant.waste.excursion_models import Excursion
from regenplant.waste.report_models import DischargeReport


def check_discharges(look: Look) -> Iterator[Finding]:
    """Each release against what was signed: its volume, its permit, its readings, and who signed."""
    rows = Discharge.objects.select_related("signature", "second_signature").prefetch_related("readings")
    for row in rows.order_by("pk").iterator(200):
        look.saw()
        if row.signature is None:
            continue
        name = f"Discharge {row.number}"
        if _is_of_another(row.signature, "discharge_release", row.number, row.released_by_id):
            yield Finding("discharge", f"{name} bears a signature that was given on something else.")
            continue
        signed = json.loads(row.signature.content)
        if digest(signed["permit_content"]) != digest(row.permit_text):
            yield Finding("discharge", f"{name} names another permit than was signed.")
        if signed["planned_volume_m3"] != row.planned_volume_m3:
            yield Finding("discharge", f"{name} names another volume than was signed.")
        if signed["measured_kg_per_m3"] != row.measured_kg_per_m3:
            yield Finding("discharge", f"{name} names another analysis than was signed.")
        stand = {one.number: (one.ph, one.temperature_kelvin) for one in row.readings.all()}
        if any(
            stand.get(one["number"]) != (one["ph"], one["temperature_kelvin"]) for one in signed["readings"]
        ):
            yield Finding("discharge", f"{name} rests on other readings than were signed.")
        second = row.second_signature
        if second is not None and (
            second.record_key != row.number
            or json.loads(second.content).get("first_digest") != row.signature.digest
        ):
            yield Finding("discharge", f"{name} was signed by the second person as something else.")


def check_excursions(look: Look) -> Iterator[Finding]:
    """Each closed excursion against what was signed."""
    for row in Excursion.objects.select_related("signature").order_by("pk").iterator(200):
        look.saw()
        if row.signature is None:
            continue
        if _is_of_another(row.signature, "excursion", row.number, row.closed_by_id):
            yield Finding(
                "excursion", f"Excursion {row.number} bears a signature that was given on something else."
            )
            continue
        signed = json.loads(row.signature.content)
        if (signed["what"], signed["cause"], signed["told"]) != (row.words, row.cause, row.told):
            yield Finding("excursion", f"What excursion {row.number} says is not what was signed.")


def check_reports(look: Look) -> Iterator[Finding]:
    """Each monthly report against what was signed."""
    for row in DischargeReport.objects.select_related("signature").order_by("pk").iterator(50):
        look.saw()
        if _is_of_another(row.signature, "discharge_report", row.key, row.made_by_id):
            yield Finding(
                "discharge report",
                f"Discharge report {row.key} bears a signature that was given on something else.",
            )
        elif row.signature.content != row.content:
            yield Finding("discharge report", f"What discharge report {row.key} says is not what was signed.")


def _is_of_another(signature: Signature, kind: str, key: str, person_id: int | None) -> bool:
    return (signature.record_kind, signature.record_key, signature.person_id) != (kind, key, person_id)


register(Check("discharge", "Discharges", "discharges", check_discharges), place=82)
register(Check("excursion", "Excursions", "excursions", check_excursions), place=83)
register(Check("discharge report", "Discharge reports", "discharge reports", check_reports), place=84)
