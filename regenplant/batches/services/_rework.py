"""What a rework says about its cause, and the two people who plan it after a third failure."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.audit.by import By
from regenplant.audit.use_case import require
from regenplant.batches.failures import ReworkNeeds
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.people.binding import TwoPeople, bind
from regenplant.people.models import Signature
from regenplant.plant.selectors import profile

REWORK_MEANING = "third failure reworked"
SECOND_RIGHT = "batch.rework_again"
"""What the second person holds, beside the right of the first to plan a rework."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a rework is planned."""

    words: str
    category: str = ""
    same_recipe_reason: str = ""


NO_CAUSE = Cause("")


def refuse_alone(by: By, parent: Batch, needs: ReworkNeeds, together: TwoPeople | None) -> None:
    """Raises: RecordRefused, NotAllowed unless two people with the rights for it plan the rework."""
    if together is None:
        raise RecordRefused(needs.sentence, field="second_username", code="two_people")
    if together.second.user.pk == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} plans it, so the second person is another one.",
            field="second_username",
            code="own_work",
        )
    require(together.second, SECOND_RIGHT, parent.segregation_class)


def sign_together(
    by: By, child: Batch, parent: Batch, needs: ReworkNeeds, together: TwoPeople
) -> tuple[Signature, ...]:
    """Both signatures over the rework. Raises: SignatureRefused."""
    content = {
        "batch": child.number,
        "reworks": parent.number,
        "failures": needs.failures,
        "cause_category": child.rework_cause_category,
        "cause": child.rework_cause,
        "same_recipe_reason": child.rework_same_recipe_reason,
        "recipe_version": child.recipe_version_id,
        "plan_digest": child.plan_digest,
    }
    return tuple(
        bind(
            permit,
            by=who,
            meaning=REWORK_MEANING,
            record_kind="rework",
            record_key=child.number,
            record_version=1,
            content=content,
            zone=profile().time_zone,
        )
        for who, permit in ((by, together.permit), (together.second, together.second_permit))
    )
