"""For each declared lock: a row that it freezes, and a change that it must refuse. Written past all services, on purpose.

Rows point at nothing (foreign keys are checked at the end of a transaction, and the tests never reach it).
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Any

from django.apps import apps
from django.db import models, transaction

from regenplant.audit.locks import Lock
from tests.factories import START

FROZEN: dict[str, dict[str, Any]] = {
    "people_person": {"is_device": False},
    "batches_deviation": {"decided_at": START},
    "batches_steprun": {"state": "done"},
    "batches_hold": {"resumed_at": START},
    "recipes_recipeversion": {"state": "approved"},
    "recipes_specificationversion": {"state": "approved"},
    "people_authorityversion": {"state": "approved"},
    "shifts_handover": {"state": "taken"},
    "plant_limitsversion": {"state": "approved"},
    "plant_permitversion": {"state": "approved"},
    "plant_draintableversion": {"state": "approved"},
    "waste_discharge": {"state": "given_up"},
    "waste_excursion": {"closed_at": START},
    "keeping_retentionversion": {"state": "approved"},
    "chemicals_unloading": {"alarm": ""},
    "chemicals_expecteddelivery": {"state": "expected", "lot_id": None},
    "tanks_expectedtank": {"state": "expected", "visit_id": None},
    "chemicals_spill": {"state": "open", "closed_by_id": None, "closed_at": None, "closing_words": ""},
    "resins_lotmovement": {"kind": "received", "other_lot_id": None},
    "use_chemicalprice": {"supplier": ""},
    "plant_calibration": {"laboratory": ""},
    "plant_outofservice": {"cause": "lost", "calibration_id": None},
    "plant_impactlook": {"no_longer": 0},
    "planning_plannedbatch": {"batch_number": ""},
    "batches_entrycheck": {"reading_id": None, "method": "twice", "signature_id": None},
}
"""What makes a row frozen, where a lock has a condition; and what the columns of a row ask of one another."""

OPEN: dict[str, dict[str, Any]] = {
    "batches_deviation": {"decided_at": None, "decided_by_id": None, "decision": ""},
    "batches_steprun": {"state": "waiting"},
    "batches_hold": {"resumed_at": None, "resumed_by_id": None},
    "recipes_recipeversion": {"state": "draft"},
    "recipes_specificationversion": {"state": "draft"},
    "people_authorityversion": {"state": "draft"},
    "shifts_handover": {"state": "signed"},
    "shifts_handoveritem": {"closed_at": None, "closed_by_id": None, "closing_words": ""},
    "plant_limitsversion": {"state": "draft"},
    "plant_permitversion": {"state": "draft"},
    "plant_draintableversion": {"state": "draft"},
    "waste_discharge": {"state": "open"},
    "waste_excursion": {
        "closed_at": None,
        "closed_by_id": None,
        "signature_id": None,
        "cause": "",
        "told": "",
    },
    "keeping_retentionversion": {"state": "draft"},
}
"""What leaves it open."""


def model_of(lock: Lock) -> type[models.Model]:
    return next(model for model in apps.get_models() if model._meta.db_table == lock.table)


def row_for(lock: Lock, **fields: Any) -> models.Model:
    """A row in the locked table with a value in every column; numbers differ, so that no two places are the same."""
    model = model_of(lock)
    values: dict[str, Any] = {}
    for index, field in enumerate(model._meta.concrete_fields, start=1):
        if isinstance(field, models.AutoField):
            continue
        values[field.attname] = _value(field, index)
    known = {
        name: value
        for name, value in fields.items()
        if any(f.attname == name for f in model._meta.concrete_fields)
    }
    row = model(**{**values, **known})
    model._default_manager.bulk_create([row])
    return row


def _value(field: models.Field[Any, Any], index: int) -> Any:
    if isinstance(field, models.ForeignKey):
        return index
    if field.choices:
        return next(key for key, _ in field.flatchoices if key != "")
    match field:
        case models.BooleanField():
            return True
        case models.JSONField():
            return {"index": index}
        case models.UUIDField():
            return uuid.UUID(int=index)
        case models.DateTimeField():
            return START + timedelta(minutes=index)
        case models.DateField():
            return date(2026, 3, index)
        case models.FloatField():
            return index / 64
        case models.IntegerField():
            return index
        case models.CharField():
            return f"x{index}"[: field.max_length]
        case models.TextField():
            return f"text {index}"
        case models.BinaryField():
            return b"x"
    raise TypeError(f"{field} needs a value here")


def other_value(row: models.Model, column: str) -> tuple[str, Any]:
    """(attribute, a value that differs from the present one) for a column."""
    field = next(f for f in row._meta.concrete_fields if f.column == column)
    present = getattr(row, field.attname)
    if isinstance(field, models.BooleanField):
        return field.attname, not present
    if isinstance(field, (models.DateTimeField, models.DateField)):
        return field.attname, (present or START) + timedelta(days=1)
    if isinstance(field, models.UUIDField):
        return field.attname, uuid.UUID(int=999)
    if isinstance(field, models.JSONField):
        return field.attname, {"altered": True}
    if isinstance(field, models.BinaryField):
        return field.attname, b"z"
    if isinstance(field, (models.CharField, models.TextField)):
        return field.attname, "z"
    return field.attname, (present or 0) + 7


@contextmanager
def undone() -> Iterator[None]:
    """A transaction that is always undone."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
