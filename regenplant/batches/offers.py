"""Actions as one person sees them: closed, with the reason, where the person lacks the right."""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar

from regenplant.audit.by import By
from regenplant.core.process.lifecycle import Blocker, Offer
from regenplant.people.authority import holders

ActionT = TypeVar("ActionT", bound=StrEnum)


def as_seen_by(offers: tuple[Offer[ActionT], ...], by: By) -> tuple[Offer[ActionT], ...]:
    """The same offers, each with one more blocker where the acting person may not do it."""
    return tuple(
        offer
        if by.user.may(offer.permission)
        else Offer(
            offer.action,
            offer.permission,
            (Blocker("not_allowed", _who_may(offer.permission)), *offer.blockers),
        )
        for offer in offers
    )


def _who_may(permission: str) -> str:
    roles = [role.value for role in holders(permission)]
    if not roles:
        return "Nobody may do this."
    article = "an" if roles[0][:1] in "aeiou" else "a"
    return f"Only {article} {' or '.join(roles)} may do this."
