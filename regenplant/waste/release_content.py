"""What the release of a discharge signs, as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.sewer_budget import IONS
from regenplant.waste.discharge_models import Discharge
from regenplant.waste.discharges import DischargeStanding


def release_content(
    row: Discharge, stands: DischargeStanding, measured: Mapping[str, float]
) -> dict[str, Any]:
    """What the release signs, as plain data."""
    loads = stands.loads(row.planned_volume_m3)
    return {
        "discharge": row.number,
        "tank": row.tank.code,
        "planned_volume_m3": row.planned_volume_m3,
        "mixing_since": moment_of(row.mixing_since),
        "permit": stands.permit.title,
        "permit_content": canonical_text(stands.permit.content),
        "readings": [
            {
                "number": one.number, "taken_at": one.taken_at.isoformat(), "ph": one.ph, "temperature_kelvin": one.temperature_kelvin,
                "instrument": one.instrument.code, "instrument_was_valid": one.instrument_was_valid, "is_late": one.is_late,
                "fault": one.fault, "counts": word,
            }
            for one, word in zip(stands.readings, stands.judged.standing, strict=True)
        ],
        "measured_kg_per_m3": dict(measured),
        "unknown_frac": stands.unknown_frac,
        "planned_kg": {ion: loads.of(ion) for ion in IONS},
        "gone_today_kg": {ion: stands.gone.loads.of(ion) for ion in IONS},
    }  # fmt: skip


def moment_of(value: datetime | None) -> str | None:
    return value.isoformat() if value is not None else None
