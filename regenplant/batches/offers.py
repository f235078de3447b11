"""Actions as one person sees them: closed, with the reason, where the person lacks the right."""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar

from regenplant.audit.by import By
from regenplant.core.process.lifecycle import Blocker, Offer

ActionT = TypeVar("ActionT", bound=StrEnum)


def as_seen_by(
    offers: tuple[Offer[ActionT], ...], by: By, segregation_class: str = ""
) -> tuple[Offer[ActionT], ...]:
    """The same offers, each with one more blocker where the acting person may not do it, in this class if one is concerned."""
    return tuple(
        offer
        if by.user.may(offer.permission, segregation_class)
        else Offer(
            offer.action,
            offer.permission,
            (
                Blocker("not_allowed", _who_may(by, offer.permission, segregation_class)),
                *offer.blockers,
            ),
        )
        for offer in offers
    )


def _who_may(by: By, permission: str, segregation_class: str) -> str:
    roles = [role.value for role in by.user.matrix.holders(permission, segregation_class)]
    told = segregation_class and by.user.matrix.depends_on_class(permission)
    where = f" in class {segregation_class}" if told else ""
    if not roles:
        return f"Nobody may do this{where}."
    article = "an" if roles[0][:1] in "aeiou" else "a"
    return f"Only {article} {' or '.join(roles)} may do this{where}."
