"""Acts on the plant's limits: drafted by one person, approved by another, in force from a date."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime

from regenplant import units
from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.records import within
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.people import approvals
from regenplant.people.binding import SignaturePermit
from regenplant.plant.limit_figures import FIGURES, IN_ORDER, Figure, content_of
from regenplant.plant.limits import changes_between, newest_content
from regenplant.plant.models import LimitsVersion

_LINE = versions.Line(LimitsVersion, lambda version: "The plant’s limits")
_BY_NAME: dict[str, Figure] = {figure.name: figure for figure in FIGURES}


@use_case("plant_limits.version_drafted", permission="limits.edit")
def draft_limits(*, by: By, values: Mapping[str, float], reason: str) -> Outcome:
    """The next version of the limits as a draft: every figure by its name, in SI. ``result`` is the version.

    Raises: OutOfRange for a figure that cannot be, RecordRefused when a draft is open or nothing changed.
    """
    _refuse_values(values)
    content = content_of(values)
    changed = changes_between(newest_content(), content)
    if not changed:
        raise RecordRefused(
            "These are the limits that hold already. Nothing was written.", code="nothing_changed"
        )
    text = canonical_text(content)
    return versions.write_draft(
        _LINE,
        by=by,
        siblings=LimitsVersion.objects.all(),
        content=text,
        is_same=lambda stored: stored == text,
        reason=reason,
        label="the plant’s limits",
        facts={"changed": [change.figure.title for change in changed]},
    )


def _refuse_values(values: Mapping[str, float]) -> None:
    missing = sorted(set(_BY_NAME) - set(values))
    strange = sorted(set(values) - set(_BY_NAME))
    if missing or strange:
        raise RecordRefused(
            f"A version holds every figure once; missing: {', '.join(missing) or 'none'}; not known: {', '.join(strange) or 'none'}."
        )
    for name, figure in _BY_NAME.items():
        if not math.isfinite(values[name]):
            raise OutOfRange(f"{figure.title} must be a number.", field=name)
        within(values[name], figure.low, figure.high, figure.title, figure.kind, field=name)
    for first, second in IN_ORDER:
        if values[first] > values[second]:
            low, high = _BY_NAME[first], _BY_NAME[second]
            raise OutOfRange(
                f"{low.title} ({units.format_quantity(values[first], low.kind)}) lies above {high.title.lower()} "
                f"({units.format_quantity(values[second], high.kind)}). Lower the one or raise the other.",
                field=first,
            )


@use_case("plant_limits.version_approved", permission="limits.approve")
def approve_limits(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """Approve and sign a draft that another person wrote; it holds from ``effective_from`` (default: now), for plans made from then on.

    Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.approve(
        _LINE, by=by, version_id=version_id, permit=permit, effective_from=effective_from
    )


@use_case("plant_limits.version_withdrawn", permission="limits.approve")
def withdraw_limits(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """Send a draft back, or stop an approved version before it takes force, which is signed.

    One that took force stays: limits change by the next version only, which takes two persons.
    Raises: SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.withdraw_before_force(_LINE, by=by, version_id=version_id, reason=reason, permit=permit)


for _event, _wording in versions.wordings("", "plant_limits"):
    say(_event, _wording)
