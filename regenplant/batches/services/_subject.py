"""How batches, steps and deviations are named in the log."""

from __future__ import annotations

from regenplant.batches.models import Batch


def batch_subject(batch: Batch) -> tuple[str, str, str]:
    return ("batch", batch.number, f"Batch {batch.number}")


def with_tanks(batch: Batch) -> tuple[tuple[str, str], ...]:
    """The tanks and the vessel an act on the whole batch touches."""
    serials = batch.tank_links.filter(is_current=True).values_list("visit__tank__serial", flat=True)
    return (("vessel", batch.vessel.code), *(("tank", serial) for serial in serials))
