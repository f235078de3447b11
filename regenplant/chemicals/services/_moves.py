"""The one writer of the state of a delivery that is unloaded through a fill connection."""

from __future__ import annotations

from typing import Any

from regenplant.chemicals.models import Unloading
from regenplant.core.errors import StaleRecord


def end_unloading(row: Unloading, target: Unloading.State, **fields: Any) -> None:
    """An open delivery is unlocked or stopped, once; ``fields`` are written together with the state.

    Raises: StaleRecord (somebody else ended it at the same moment).
    """
    touched = Unloading.objects.filter(pk=row.pk, state=Unloading.State.OPEN, version=row.version).update(
        state=target.value, version=row.version + 1, **fields
    )
    if touched != 1:
        raise StaleRecord(f"Delivery {row.number} was ended by somebody else at the same moment. Look again.")
    row.refresh_from_db()
