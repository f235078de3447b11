"""Versions of recipes, specifications and whatever else has versions: content against digest, and no number missing."""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps

from regenplant.audit.naming import name_of
from regenplant.audit.verifying.registry import Finding, Look
from regenplant.audit.version_model import Version
from regenplant.core.process.canonical import digest


def check_versions(look: Look) -> Iterator[Finding]:
    for model in apps.get_models():
        if not issubclass(model, Version):
            continue
        owner = _owner(model)
        last: tuple[object, int] = (None, 0)
        rows = model._default_manager.order_by(*([owner] if owner else []), "number")
        for row in rows.iterator(500):
            look.saw()
            name = name_of(model._meta.db_table, str(row.pk))
            if digest(row.content) != row.digest:
                yield Finding("version", f"The {name} no longer fits its digest.")
            if row.approved_by_id is not None and row.approved_by_id == row.made_by_id:
                yield Finding("version", f"The {name} was approved by the person who made it.")
            own = (getattr(row, f"{owner}_id") if owner else None, row.number)
            expected = last[1] + 1 if own[0] == last[0] else 1
            if own[1] != expected:
                yield Finding("version", f"Version {expected} is missing before the {name}.")
            last = own


def _owner(model: type[Version]) -> str:
    """The foreign key to what has versions: the recipe, the specification; "" where there is only one such thing."""
    shared = {field.name for field in Version._meta.local_fields}
    found = [f.name for f in model._meta.concrete_fields if f.remote_field and f.name not in shared]
    return found[0] if found else ""
