"""Acts on specifications."""

from __future__ import annotations

import math
from datetime import datetime

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import within
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.specification import Specification as SpecificationDefinition
from regenplant.people import approvals
from regenplant.people.binding import SignaturePermit
from regenplant.recipes.models import Specification, SpecificationVersion
from regenplant.recipes.services import _versioned

_LINE = _versioned.Line("specification", Specification, SpecificationVersion, "specification")


@use_case("specification.added", permission="recipe.edit")
def add_specification(
    *, by: By, code: str, name: str, family: str, grade: str, definition: SpecificationDefinition, reason: str
) -> Outcome:
    """A specification with version 1 as a draft; ``result`` is the version. Raises: RecordRefused, OutOfRange."""
    _refuse_unfit(definition)
    return _versioned.add(
        _LINE, by=by, code=code, name=name, family=family, grade=grade, definition=definition, reason=reason
    )


@use_case("specification.version_drafted", permission="recipe.edit")
def draft_specification_version(
    *, by: By, specification_id: int, definition: SpecificationDefinition, reason: str
) -> Outcome:
    """The next version as a draft; ``result`` is the version. Raises: RecordRefused, OutOfRange."""
    _refuse_unfit(definition)
    return _versioned.draft(_LINE, by=by, owner_id=specification_id, definition=definition, reason=reason)


@use_case("specification.version_approved", permission="recipe.approve")
def approve_specification_version(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """A second person approves a draft and signs it (``approval_of``).

    Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.approve(
        _LINE.versions, by=by, version_id=version_id, permit=permit, effective_from=effective_from
    )


@use_case("specification.version_withdrawn", permission="recipe.approve")
def withdraw_specification_version(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """No new batch uses this version. One that was approved is withdrawn with a signature (``withdrawal_of``).

    Raises: SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.withdraw(_LINE.versions, by=by, version_id=version_id, reason=reason, permit=permit)


def _refuse_unfit(definition: SpecificationDefinition) -> None:
    """What the frozen data itself cannot know: kinds of this house, numbers that can be, and no absurd times."""
    for limit in definition.limits:
        kind = units.KINDS.get(limit.kind)
        if kind is None:
            raise RecordRefused(
                f"The limit for {limit.name} is of a kind ({limit.kind}) that is not known here.",
                code="unknown_kind",
            )
        for value in (limit.low, limit.high):
            if value is not None and not (math.isfinite(value) and kind.low <= value <= kind.high):
                raise OutOfRange(
                    f"The limit for {limit.name} holds a number that cannot be a {kind.name}.",
                    code="limit_value",
                )
    within(definition.hold_time_s, 1.0, 86400.0, "The hold time", "duration", field="hold_time_s")
    within(definition.longest_gap_s, 1.0, 86400.0, "The longest gap", "duration", field="longest_gap_s")
    within(
        definition.minimum_rinse_bv, 0.01, 1000.0, "The least rinse", "bed_volumes", field="minimum_rinse_bv"
    )
    within(
        definition.consecutive_readings,
        2,
        100,
        "The number of consecutive readings",
        "count",
        field="consecutive_readings",
    )
    within(definition.jump_factor, 1.5, 1000.0, "The jump that no water makes", "count", field="jump_factor")
    most = definition.maximum_rinse_bv
    if most is not None and not definition.minimum_rinse_bv < most <= 1000.0:
        raise OutOfRange(
            f"The most rinse, {most:g} BV, lies above the least, {definition.minimum_rinse_bv:g} BV, and at most at 1000 BV.",
            field="maximum_rinse_bv",
        )


for _event, _words in _versioned.wordings("Specification", "specification"):
    say(_event, _words)
