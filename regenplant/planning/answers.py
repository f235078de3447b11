"""What would bring a late tank of a plan on time: worked out for a person who waits, within a strict time, and as it is kept."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from regenplant.core.errors import RecordRefused
from regenplant.core.scheduling.helping import Change, Help, what_would_help
from regenplant.core.scheduling.relaxing import Relaxation, RelaxKind
from regenplant.planning.kept import plan_from
from regenplant.planning.models import DayPlan
from regenplant.planning.selectors import problem_of

LONGEST_S = 8.0
"""A question is answered within so many seconds, with what was found by then."""

ASKABLE = (DayPlan.State.DONE, DayPlan.State.STOPPED, DayPlan.State.ACCEPTED)

_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True)
class Answer:
    """As ``core.scheduling.helping.Help``, as it is kept: without the plans that were tried."""

    due_min: int
    ready_min: int
    alone_min: int
    first: Change
    tried: tuple[Change, ...]
    not_tried: int


def work_out(
    *,
    number: str,
    tank: str,
    version: int | None = None,
    steps: int | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> dict[str, Any]:
    """What would bring this tank of a plan on time: the arguments of ``services.keep_answer``. Writes nothing.

    ``version`` is that of the plan as it was shown; ``steps`` of each search makes it repeatable, in place of the usual ones.

    Raises: RecordRefused where the plan or the tank is not one to be asked about, or another question is being worked out;
    OutOfRange where the tank is not late.
    """
    row = DayPlan.objects.prefetch_related("decisions").filter(number=number).first()
    if row is None:
        raise RecordRefused(f"There is no day plan {number[:16]} here.", code="unknown")
    refuse_unaskable(row)
    assert row.plan is not None
    if not _one_at_a_time.acquire(blocking=False):
        raise RecordRefused(
            "Another such question is being worked out at this moment. Ask again in some seconds.",
            code="busy",
        )
    try:
        until = clock() + LONGEST_S
        more = {} if steps is None else {"steps": steps}
        found = what_would_help(
            problem_of(row), plan_from(row.plan), tank, is_over=lambda: clock() > until, **more
        )
    finally:
        _one_at_a_time.release()
    return {
        "number": row.number,
        "version": row.version if version is None else version,
        "tank": tank,
        "content": answer_to(found),
    }


def refuse_unaskable(row: DayPlan) -> None:
    """Raises: RecordRefused for a plan that is searched, failed, or was set aside."""
    if row.state not in ASKABLE or row.plan is None:
        raise RecordRefused(
            f"{row.number} is {row.get_state_display()}. Only a plan that was found and that nobody set aside can be asked about.",
            code="not_askable",
        )


def answer_to(found: Help) -> dict[str, Any]:
    """Plain data."""
    return {
        "due": found.due_min,
        "ready": found.ready_min,
        "alone": found.alone_min,
        "first": _change_to(found.first),
        "tried": [_change_to(one) for one in found.tried],
        "not_tried": found.not_tried,
    }


def _change_to(one: Change) -> dict[str, Any]:
    how = one.how
    return {
        "kind": how.kind.value, "name": how.name, "at": how.at_min, "until": how.until_min, "amount": how.amount,
        "ready": one.ready_min, "late": one.late_min, "costs": round(one.costs, 2), "others_late": one.others_late,
        "helps": one.helps,
    }  # fmt: skip


def answer_from(data: Mapping[str, Any]) -> Answer:
    """What ``answer_to`` wrote."""
    return Answer(
        due_min=int(data["due"]),
        ready_min=int(data["ready"]),
        alone_min=int(data["alone"]),
        first=_change_from(data["first"]),
        tried=tuple(_change_from(one) for one in data["tried"]),
        not_tried=int(data["not_tried"]),
    )


def _change_from(data: Mapping[str, Any]) -> Change:
    how = Relaxation(
        RelaxKind(data["kind"]), data["name"], int(data["at"]), int(data["until"]), float(data["amount"])
    )
    return Change(
        how,
        int(data["ready"]),
        int(data["late"]),
        float(data["costs"]),
        int(data["others_late"]),
        bool(data["helps"]),
    )
