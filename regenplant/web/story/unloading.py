"""Bulk deliveries of the story come through the lock: papers, sample, second person at the connection, signature, weigh ticket. One stood at
the wrong connection and was stopped."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import ChemicalLot, Unloading
from regenplant.chemicals.services import UNLOCK_MEANING, Papers
from regenplant.chemicals.un_numbers import NO_UN_NUMBER
from regenplant.web.story.cast import LOT_WORDS, Stage, check
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)
CONNECTIONS = {"hcl": "FILL-1", "naoh": "FILL-2", "nacl": "FILL-3", "h2so4": "FILL-4"}
"""Codes at the fill connections, by what stands in the tank. Hypochlorite comes in drums."""
ROOM_M3 = {"hcl": 0.5, "naoh": 0.3, "nacl": 1.0, "h2so4": 0.2}
"""What stays free after every delivery."""


def put_up_connections(stage: Stage, at: datetime) -> None:
    """Each tank that is filled by hose gets its coded connection."""
    for item in stage.data["chemicals"]:
        code = CONNECTIONS.get(item["chemical"])
        if code is not None:
            chemicals.set_fill_connection(
                by=stage.by("osk", at),
                place_id=stage.bulk_tanks[item["chemical"]],
                connection_code=code,
                un_number=item["un_number"] or NO_UN_NUMBER,
                ullage_margin_m3=ROOM_M3[item["chemical"]],
            )


def unload(stage: Stage, at: datetime, item: Mapping[str, Any]) -> Script:
    """One delivery through the lock; then the strength of what is in the tank, and its lot in use."""
    row = _opened(stage, at, item)
    at += 7 * MINUTE
    yield at
    _sample(stage, at, row, item)
    at += 4 * MINUTE
    yield at
    chemicals.confirm_connection(
        by=stage.by("sallow", at), unloading_id=row.pk, scanned=CONNECTIONS[item["chemical"]]
    )
    at += 2 * MINUTE
    yield at
    lot: ChemicalLot = chemicals.unlock(
        by=stage.by("tarn", at), unloading_id=row.pk, permit=stage.permit("tarn", UNLOCK_MEANING, at)
    ).result.lot
    at += 35 * MINUTE
    yield at
    _weigh(stage, at, row, item)
    at += 10 * MINUTE
    yield at
    check(stage, at, lot.pk, dict(item))
    chemicals.put_lot_in_use(by=stage.by("brae", at), lot_id=lot.pk)


def wrong_connection(stage: Stage, at: datetime) -> Script:
    """The hose with caustic lay at the acid connection; the scan stopped it, and a supervisor answered."""
    yield at
    item = next(item for item in stage.data["chemicals"] if item["chemical"] == "naoh")
    row = _opened(stage, at, item)
    at += 8 * MINUTE
    yield at
    _sample(stage, at, row, item)
    at += 5 * MINUTE
    yield at
    chemicals.confirm_connection(by=stage.by("sallow", at), unloading_id=row.pk, scanned=CONNECTIONS["hcl"])
    at += 50 * MINUTE
    yield at
    chemicals.answer_stop(
        by=stage.by("osk", at),
        unloading_id=row.pk,
        answer="The driver had laid his hose at the acid connection. Nothing was connected. Sent back; both connections now stand behind own gates.",
    )


def _opened(stage: Stage, at: datetime, item: Mapping[str, Any]) -> Unloading:
    chemical = item["chemical"]
    number = stage.deliveries.get(chemical, 0) + 1
    stage.deliveries[chemical] = number
    papers = Papers(
        order_line=f"PO-20{number:02} / {number}",
        chemical=chemical,
        un_number=item["un_number"] or NO_UN_NUMBER,
        lot_code=f"{LOT_WORDS[chemical]}-{at:%y%m}-{number}",
        supplier_lot=f"invented {number}",
        certificate_strength_frac=item["certificate_strength_frac"],
        grams_100=item["delivery_kg_100"] * 1000,
        place_id=stage.bulk_tanks[chemical],
        data_sheet_id=item["sheet_id"],
    )
    row: Unloading = chemicals.open_unloading(by=stage.by("tarn", at), papers=papers).result
    return row


def _sample(stage: Stage, at: datetime, row: Unloading, item: Mapping[str, Any]) -> None:
    is_titrated = item.get("is_titrated", False)
    chemicals.check_sample(
        by=stage.by("tarn", at),
        unloading_id=row.pk,
        density_kg_per_m3=item["density_20c"],
        temperature_kelvin=293.15,
        value_as_typed=f"{item['density_20c']:.0f}",
        unit_as_typed="kg/m3",
        strength_frac=item["certificate_strength_frac"] if is_titrated else None,
    )


def _weigh(stage: Stage, at: datetime, row: Unloading, item: Mapping[str, Any]) -> None:
    """The scales and the meter of the tanker agree within a tenth of a per cent."""
    net_kg = round(item["delivery_kg_100"] / item["certificate_strength_frac"], 0)
    volume_m3 = round(net_kg / item["density_20c"], 3)
    chemicals.write_weigh_ticket(
        by=stage.by("tarn", at),
        unloading_id=row.pk,
        paper_number=f"scales {row.number[-2:]}",
        net_kg=net_kg,
        volume_m3=volume_m3,
        net_as_typed=f"{net_kg:.0f} kg",
        volume_as_typed=f"{volume_m3 * 1000:.0f} L",
    )
