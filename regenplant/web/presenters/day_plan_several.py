"""The tanks of a plan as they are ticked for one decision about several of them: in rows that are sorted by any head."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from regenplant.planning.selectors import PlanShown
from regenplant.web.presenters.day_plan import key_words, rush_words, tank_rows


@dataclass(frozen=True, slots=True)
class TickRow:
    """A tank that may be ticked."""

    serial: str
    batch: str
    """With its vessel; "" for a tank in no batch."""
    key: str
    """Resin, class, owner."""
    customer: str
    due_at: datetime | None
    ready_at: datetime | None
    """As planned; None for a tank in no batch."""
    is_late: bool
    notes: tuple[str, ...]
    """When one is expected to wait that is not here, and whether it counts as rush because of its customer."""


@dataclass(frozen=True, slots=True)
class Head:
    """The head of a column, which sorts by it when it is pressed."""

    label: str
    order: str
    """What a press asks for: the name of the column, with a dash before it for the other way round."""
    sorted: str
    """ "ascending", "descending", or "" where the rows are sorted by another one."""


Sorted = Callable[[TickRow], tuple[bool, Any]]
"""Whether a row says nothing of a column, and by what it is sorted."""
_BY: dict[str, tuple[str, Sorted]] = {
    "tank": ("Tank", lambda row: (False, row.serial)),
    "batch": ("Batch", lambda row: (not row.batch, row.batch)),
    "key": ("Resin, class", lambda row: (False, row.key)),
    "customer": ("Customer", lambda row: (not row.customer, row.customer)),
    "due": ("Due", lambda row: (row.due_at is None, row.due_at)),
    "ready": ("Ready, as planned", lambda row: (row.ready_at is None, row.ready_at)),
}
USUAL = "batch"


def order_of(asked: str) -> str:
    """What was asked for, if there is such a column; else by batch."""
    return asked if asked.removeprefix("-") in _BY else USUAL


def heads(order: str) -> list[Head]:
    """Of every column, in order."""
    name, is_down = order.removeprefix("-"), order.startswith("-")
    return [
        Head(
            label=label,
            order=f"-{one}" if one == name and not is_down else one,
            sorted="" if one != name else "descending" if is_down else "ascending",
        )
        for one, (label, _) in _BY.items()
    ]


def tick_rows(view: PlanShown, order: str) -> list[TickRow]:
    """Every tank of the plan, sorted; what is not known of a tank comes last either way. Of the same, by tank."""
    tanks = {tank.id: tank for tank in view.problem.tanks}
    end = view.clock.end_min
    rows = [
        TickRow(
            serial=one.serial,
            batch=f"{one.batch} in {one.vessel}",
            key=key_words(view, tanks[one.serial]),
            customer=one.customer,
            due_at=one.due_at,
            ready_at=one.ready_at,
            is_late=one.late_h > 0,
            notes=tuple(filter(None, (one.comes, one.rush))),
        )
        for one in tank_rows(view)
    ]
    rows += [
        TickRow(
            serial=name,
            batch="",
            key=key_words(view, tanks[name]),
            customer=view.names.customers.get(name, ""),
            due_at=view.clock.moment(tanks[name].due_min) if tanks[name].due_min < end else None,
            ready_at=None,
            is_late=False,
            notes=tuple(filter(None, (rush_words(view, name),))),
        )
        for name in view.unplaced
    ]
    _, by = _BY[order.removeprefix("-")]
    rows.sort(key=lambda row: row.serial)
    known = [row for row in rows if not by(row)[0]]
    unknown = [row for row in rows if by(row)[0]]
    known.sort(key=lambda row: by(row)[1], reverse=order.startswith("-"))
    return known + unknown
