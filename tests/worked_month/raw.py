"""The raw rows of the month as plain data: values of columns, nothing worked out."""

from __future__ import annotations

import json
from typing import Any

from regenplant.batches.models import Batch, BatchTank, StepEntry, StepRun
from regenplant.chemicals.models import ChemicalLot, Movement, Place, StockCount, StrengthCheck, Unloading
from regenplant.use.models import ChemicalPrice
from regenplant.waste.models import Discharge, StepDrain, WasteMovement

Rows = dict[str, list[dict[str, Any]]]

COLUMNS: dict[str, tuple[Any, tuple[str, ...]]] = {
    "places": (Place, ("code", "kind", "chemical")),
    "movements": (
        Movement,
        (
            "number",
            "chemical",
            "lot__code",
            "from_place__code",
            "from_place__kind",
            "to_place__code",
            "to_place__kind",
            "grams_100",
            "reference",
            "moved_at",
            "corrects__number",
            "reason",
            "moved_by__full_name",
        ),
    ),
    "prices": (ChemicalPrice, ("chemical", "lot__code", "basis", "milli_per_kg")),
    "waste": (
        WasteMovement,
        (
            "number",
            "tank__code",
            "kind",
            "volume_m3",
            "amounts_mol",
            "level_m3",
            "held_mol",
            "batch__number",
            "movement__number",
            "reference",
        ),
    ),
    "discharges": (
        Discharge,
        (
            "number",
            "volume_m3",
            "measured_kg_per_m3",
            "chloride_kg",
            "sodium_kg",
            "sulfate_kg",
            "tds_kg",
            "ended_at",
        ),
    ),
    "drains": (
        StepDrain,
        ("batch__number", "step_number", "destination", "waste_m3", "amounts_mol", "drained_at"),
    ),
    "lots": (ChemicalLot, ("code", "chemical", "certificate_strength_frac", "is_in_use")),
    "checks": (
        StrengthCheck,
        ("lot__code", "strength_frac", "density_kg_per_m3", "value_as_typed", "checked_at"),
    ),
    "unloadings": (
        Unloading,
        ("number", "state", "lot_code", "grams_100", "alarm", "answer", "sample_strength_frac"),
    ),
    "counts": (
        StockCount,
        (
            "number",
            "place__code",
            "level_m",
            "value_as_typed",
            "strength_frac",
            "found_grams_100",
            "spread_grams_100",
            "books_grams_100",
            "after_movement",
            "counted_at",
        ),
    ),
    "batches": (
        Batch,
        (
            "number",
            "started_at",
            "planned_at",
            "resin_type__family",
            "resin_type__operating_capacity_eq_per_m3",
            "vessel__code",
            "resin_volume_m3",
            "segregation_class",
            "resin_volume_form",
            "recipe_version__recipe__code",
        ),
    ),
    "tanks": (
        BatchTank,
        ("batch__number", "visit__customer__code", "visit__tank__resin_lot__code", "resin_volume_m3"),
    ),
    "steps": (StepRun, ("batch__number", "number", "kind", "state", "finished_at")),
    "entries": (StepEntry, ("step__batch__number", "step__number", "key", "value", "value_as_typed")),
}


def raw_rows() -> Rows:
    """Every table of the month, oldest first; plans as the JSON they are stored as."""
    found = {
        name: list(model.objects.order_by("pk").values(*columns))
        for name, (model, columns) in COLUMNS.items()
    }
    plans = dict(Batch.objects.values_list("number", "plan_text"))
    for row in found["batches"]:
        row["plan"] = json.loads(plans[row["number"]])
    return found
