"""Handovers: signed by whom they name, over what they still say, and by two people."""

from __future__ import annotations

import json
from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.shifts.models import Handover


def check_handovers(look: Look) -> Iterator[Finding]:
    """Each handover against its two signatures."""
    rows = Handover.objects.select_related("signature", "taking_signature").order_by("pk")
    for row in rows.iterator(200):
        look.saw()
        given = (
            ("handover", row.signature, row.handed_by_id),
            ("handover_taken", row.taking_signature, row.taken_by_id),
        )
        for kind, signature, person_id in given:
            if signature is None:
                continue
            if (signature.record_kind, signature.record_key, signature.person_id) != (
                kind,
                row.number,
                person_id,
            ):
                yield Finding(
                    "handover", f"Handover {row.number} bears a signature that was given on something else."
                )
        if row.content != row.signature.content:
            yield Finding("handover", f"What handover {row.number} says is not what was signed.")
        taking = row.taking_signature
        if taking is not None and json.loads(taking.content).get("handed_digest") != row.signature.digest:
            yield Finding("handover", f"Handover {row.number} was taken over as something else than it is.")


register(Check("handover", "Handovers", "handovers", check_handovers), place=81)
