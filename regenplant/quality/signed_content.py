"""What a QC decision and a release sign: canonical data with units, limits, versions and the tank list."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from regenplant.batches.models import Batch
from regenplant.batches.rinse import current_readings
from regenplant.batches.selectors.rinse import logs_of
from regenplant.batches.separation import separation_record
from regenplant.batches.worked_out import worked_of
from regenplant.core.process.canonical import digest, to_plain
from regenplant.core.process.review_rules import Exceptions
from regenplant.core.process.specification import Specification
from regenplant.quality.exceptions import written_findings
from regenplant.quality.models import QcDecision, decision_of, release_of, review_of
from regenplant.quality.specification import Judged, applied_specification, downgrade_of
from regenplant.recipes.models import SpecificationVersion

PASS_MEANING = "QC judgement: pass"
FAIL_MEANING = "QC judgement: fail"
DOWNGRADE_MEANING = "downgrade to a lower product"
RELEASE_MEANING = "release of batch and tanks"
REOPEN_MEANING = "signed record opened for correction"
REVIEW_MEANING = "review of the whole record"


def _identity(batch: Batch) -> dict[str, Any]:
    recipe, specification = batch.recipe_version, batch.specification_version
    return {
        "batch": batch.number,
        "plan_digest": batch.plan_digest,
        "core_version": batch.core_version,
        "recipe": {"code": recipe.recipe.code, "version": recipe.number, "digest": recipe.digest},
        "specification": {
            "code": specification.specification.code,
            "version": specification.number,
            "digest": specification.digest,
        },
        **_worked_out(batch),
        "resin_type": batch.resin_type.code,
        "segregation_class": batch.segregation_class,
        "vessel": batch.vessel.code,
        **({"anion_vessel": batch.anion_vessel.code} if batch.anion_vessel else {}),
        "resin_volume": {"value": batch.resin_volume_m3, "unit": "m^3", "form": batch.resin_volume_form},
        "tanks": [
            {
                "serial": link.visit.tank.serial,
                "visit": link.visit.number,
                "filled": link.is_filled,
                "set_aside": link.set_aside_reason,
                **({"withdrawn": link.withdrawn_reason} if link.is_withdrawn else {}),
            }
            for link in batch.tank_links.select_related("visit__tank").order_by("position")
        ],
    }


def _worked_out(batch: Batch) -> dict[str, Any]:
    """The versions of which the strictest holds, where there are several; nothing for any other batch."""
    worked = worked_of(batch)
    if worked is None:
        return {}
    parts = [
        {"code": part.code, "version": part.number, "digest": part.digest, "customers": list(part.customers)}
        for part in worked.parts
    ]
    return {"specification_worked_out": {"digest": digest(batch.specification_text), "of": parts}}


def decision_content(
    batch: Batch,
    judged: Judged,
    verdict: str,
    reason: str,
    *,
    amends: QcDecision | None = None,
    against: Specification | None = None,
    **more: Any,
) -> dict[str, Any]:
    """Everything the decision rests on. ``amends``: the version this one takes the place of, which was reopened. ``against``: the lower
    specification of a downgrade. ``more``: what else is signed with it, a downgrade or a proposal."""
    return {
        **_identity(batch),
        "verdict": verdict,
        "reason": reason,
        **more,
        **(_continued(batch)),
        **(_amends(amends) if amends is not None else {}),
        "judgement": to_plain(judged.verdict),
        "specification_content": to_plain(applied_specification(batch) if against is None else against),
        **_separation(batch),
        "readings": [
            {
                "id": row.pk,
                "at": row.occurred_at.isoformat(),
                "as_typed": f"{row.value_as_typed} {row.unit_as_typed}",
                "temperature_kelvin": row.temperature_kelvin,
                "meter_compensation": row.meter_compensation,
                **(
                    {}
                    if row.cell_constant_per_cm is None
                    else {"cell_constant_per_cm": row.cell_constant_per_cm}
                ),
                "conductivity_siemens_per_m": row.conductivity_siemens_per_m,
                "conductivity_25_siemens_per_m": row.conductivity_25_siemens_per_m,
                "rinsed_bv": row.rinsed_bv,
                "instrument": row.instrument.code,
                "instrument_was_valid": row.instrument_was_valid,
            }
            for row in current_readings(batch)
        ],
        **_logs(batch),
        "measurements": [
            {
                "id": row.pk,
                **({"tank": row.tank.visit.tank.serial} if row.tank else {}),
                "key": row.key,
                "kind": row.kind,
                "as_typed": f"{row.value_as_typed} {row.unit_as_typed}".strip(),
                "value_si": row.value,
                "instrument": row.instrument.code if row.instrument else "",
                "at": row.occurred_at.isoformat(),
            }
            for row in judged.measurements
        ],
    }


def _continued(batch: Batch) -> dict[str, Any]:
    """How often and with how much water the rinse went on; nothing for a batch that rinsed once."""
    rows = [
        {
            "round": row.round,
            "rinsed_bv": row.rinsed_bv,
            "allowance_bv": row.allowance_bv,
            "reason": row.reason,
            "at": row.continued_at.isoformat(),
        }
        for row in batch.rinse_continuations.order_by("round")
    ]
    return {"rinse_continued": rows} if rows else {}


def downgrade_content(
    batch: Batch,
    to_version: SpecificationVersion,
    to_class: str,
    reason: str,
    orders: Iterable[dict[str, Any]],
) -> dict[str, Any]:
    """What two people sign of a downgrade, beside the judgement by the lower specification."""
    return {
        "from": {
            "specification": batch.specification_version.specification.code,
            "version": batch.specification_version.number,
            "class": batch.segregation_class,
        },
        "to": {
            "specification": to_version.specification.code,
            "version": to_version.number,
            "digest": to_version.digest,
            "class": to_class,
        },
        "reason": reason,
        "orders": list(orders),
    }


def _downgraded(batch: Batch) -> dict[str, Any]:
    """The downgrade a release rests on; nothing for a batch that kept its product."""
    down = downgrade_of(batch)
    if down is None:
        return {}
    orders = [
        {
            "customer": row.customer.code,
            "order": row.order_number,
            "accepted_by": row.accepted_by,
            "accepted_on": row.accepted_on.isoformat(),
        }
        for row in down.orders.select_related("customer")
    ]
    return {
        "downgrade": {
            **downgrade_content(batch, down.to_version, down.to_class, down.reason, orders),
            "digest": down.signature.digest,
        }
    }


def _amends(decision: QcDecision) -> dict[str, Any]:
    """Which version is amended, and why."""
    reopening = decision.reopened
    return {
        "amends": {
            "version": decision.version,
            "digest": decision.signature.digest,
            "reopening_digest": reopening.signature.digest,
            "category": reopening.reason_category,
            "reason": reopening.reason,
        }
    }


def reopening_content(batch: Batch, decision: QcDecision, category: str, reason: str) -> dict[str, Any]:
    """What a reopening signs: which signed decision is opened, and why."""
    return {
        "batch": batch.number,
        "decision": {
            "version": decision.version,
            "verdict": decision.verdict,
            "digest": decision.signature.digest,
        },
        "category": category,
        "reason": reason,
    }


def review_content(batch: Batch, record_digest: str, found: Exceptions, remarks: str) -> dict[str, Any]:
    """What a review signs: the record by its digest, and what was unusual as it was shown."""
    return {
        "batch": batch.number,
        "plan_digest": batch.plan_digest,
        "record_digest": record_digest,
        "unusual": written_findings(found),
        "none_of": list(found.none_of),
        "looked_at": list(found.looked_at),
        "remarks": remarks,
    }


def _logs(batch: Batch) -> dict[str, Any]:
    """The logs of meters, each by its digest, with what was set aside of it; nothing where there is none."""
    logs = list(logs_of(batch))
    if not logs:
        return {}
    return {
        "logs": [
            {
                "id": row.pk,
                "source": row.source,
                "name": row.name,
                "instrument": row.instrument.code,
                "instrument_was_valid": row.instrument_was_valid,
                "meter_compensation": row.meter_compensation,
                "from": row.first_at.isoformat(),
                "to": row.last_at.isoformat(),
                "count": row.count,
                "digest": row.digest,
                "set_aside": [
                    {
                        "from": (aside.from_at or row.first_at).isoformat(),
                        "to": (aside.until_at or row.last_at).isoformat(),
                        "reason": aside.reason,
                    }
                    for aside in row.set_asides.all()
                ],
            }
            for row in reversed(logs)
        ]
    }


def _separation(batch: Batch) -> dict[str, Any]:
    """The separation record of a mixed bed; nothing for any other batch."""
    record = separation_record(batch)
    if record is None:
        return {}
    return {
        "separation": [
            {"key": line.key, "kind": line.kind, "as_typed": line.as_typed, "value_si": line.value}
            for line in record.lines
            if line.entry is not None
        ]
    }


def release_content(batch: Batch) -> dict[str, Any]:
    """What is released, and the decision, the review and the deviations it rests on."""
    decision, review, before = decision_of(batch), review_of(batch), release_of(batch)
    return {
        **_identity(batch),
        **({"amends": {"version": before.version, "digest": before.signature.digest}} if before else {}),
        "qc_decision": {
            "verdict": decision.verdict,
            "version": decision.version,
            "digest": decision.signature.digest,
        }
        if decision
        else None,
        "review": {
            "version": review.version,
            "record_digest": review.record_digest,
            "digest": review.signature.digest,
        }
        if review
        else None,
        "lot": batch.lot.code if batch.lot else "",
        **_downgraded(batch),
        "deviations": [
            {
                "number": deviation.number,
                "severity": deviation.severity,
                "what": deviation.what,
                "decision": deviation.decision,
            }
            for deviation in batch.deviations.order_by("id")
        ],
    }
