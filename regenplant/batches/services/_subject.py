"""How batches, steps and deviations are named in the log."""

from __future__ import annotations

from regenplant.batches.legs import vessel_codes
from regenplant.batches.models import Batch


def batch_subject(batch: Batch) -> tuple[str, str, str]:
    return ("batch", batch.number, f"Batch {batch.number}")


def with_tanks(batch: Batch) -> tuple[tuple[str, str], ...]:
    """The tanks and the vessels an act on the whole batch touches."""
    serials = batch.tank_links.filter(is_current=True).values_list("visit__tank__serial", flat=True)
    own = (("vessel", code) for code in vessel_codes(batch))
    return (*own, *(("tank", serial) for serial in serials))
