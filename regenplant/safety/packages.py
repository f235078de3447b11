"""Packages that the tank has no room for: refused as every delivery is, and kept as a near miss, as at the lock of a hose."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.chemicals.models import Place
from regenplant.chemicals.services import receive_delivery
from regenplant.core.errors import OutOfRange
from regenplant.safety.models import NearMiss
from regenplant.safety.services.near_misses import report_near_miss

DONE = "The program refused the receipt; nothing was written into the books."


def receive_packages(*, by: By, place_id: int, code: str, **delivery: Any) -> Outcome:
    """``receive_delivery``; what has no room is refused, and an act of its own keeps it as a near miss, once while that waits for its answer.

    Raises: what ``receive_delivery`` raises; of no room the sentence names the near miss.
    """
    try:
        return receive_delivery(by=by, place_id=place_id, code=code, **delivery)
    except OutOfRange as refusal:
        if refusal.code != "no_room":
            raise
        row = _kept(by, Place.objects.get(pk=place_id), code, refusal.message)
        raise OutOfRange(
            f"{refusal.message} Kept as near miss {row.number}.",
            field=refusal.field, code=refusal.code, **refusal.context,
        ) from refusal  # fmt: skip


def _kept(by: By, tank: Place, code: str, why: str) -> NearMiss:
    what = f"Packages of lot {code} were to be emptied into {tank.code}. {why}"
    waiting = NearMiss.objects.filter(about=tank.code, what=what, answered_by__isnull=True).first()
    if waiting is not None:
        return waiting
    made: NearMiss = report_near_miss(
        by=by,
        kind=NearMiss.Kind.OTHER.value,
        what=what,
        spot=f"tank {tank.code}",
        about=tank.code,
        done_at_once=DONE,
    ).result
    return made
