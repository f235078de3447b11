"""Both ways from one thing to all it touched: customers, tanks, lots, batches, and where the tanks went.

Everything is told through batches: a tank by the batches of its visits, a lot by the batches it went into or came out of, a
customer by the batches its tanks were in. Eight queries at most, whatever the number of batches.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from django.db.models import Q, QuerySet

from regenplant.batches.models import Batch, BatchTank
from regenplant.chemicals.models import ChemicalLot, Movement
from regenplant.core.errors import RecordRefused
from regenplant.resins.models import LotParent, ResinLot
from regenplant.tanks.models import Customer, Tank

MOST_BATCHES = 60
"""Newest first; what is left out is said."""


class Kind(StrEnum):
    """What a trace can begin at, and what its nodes are."""

    CUSTOMER = "customer"
    TANK = "tank"
    RESIN_LOT = "resin_lot"
    CHEMICAL_LOT = "chemical_lot"
    BATCH = "batch"


class Column(StrEnum):
    """Where a node stands: the way of a tank from left to right."""

    CAME_FROM = "came from"
    TANKS = "tanks"
    WENT_IN = "lots that went in"
    BATCHES = "batches"
    MADE = "lots made"
    WENT_TO = "went to"


@dataclass(frozen=True, slots=True)
class Node:
    """One thing of the trace."""

    column: Column
    kind: Kind
    code: str
    note: str = ""
    """A word more: the state of a batch, the chemical of a lot."""
    at: datetime | None = None

    @property
    def key(self) -> tuple[str, str]:
        """One thing may stand in two columns; in each it is a node of its own."""
        return (self.column.value, f"{self.kind.value}:{self.code}")


@dataclass(frozen=True, slots=True)
class Edge:
    """A way from one node to another; ``count`` tanks took it, 0 where it is no way of tanks."""

    start: tuple[str, str]
    end: tuple[str, str]
    count: int = 0


@dataclass(frozen=True, slots=True)
class Trace:
    """Nodes by column and the ways between them."""

    kind: Kind
    code: str
    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]
    left_out: int = 0
    """Older batches that are not shown."""

    def of(self, column: Column) -> tuple[Node, ...]:
        """The nodes of a column, in the order shown."""
        return tuple(node for node in self.nodes if node.column is column)

    def ways_from(self, node: Node) -> tuple[Node, ...]:
        """The nodes that this one leads into."""
        ends = {edge.end for edge in self.edges if edge.start == node.key}
        return tuple(other for other in self.nodes if other.key in ends)


def trace_of(kind: str, code: str) -> Trace:
    """The trace of a batch, tank, lot or customer. Raises: RecordRefused for what is not known."""
    if kind not in list(Kind) or not code.isprintable():
        raise RecordRefused("That is nothing that can be traced.", code="unknown")
    start = Kind(kind)
    found = _known(start, code.strip())
    if not found:
        raise RecordRefused(f"There is no {start.value.replace('_', ' ')} {code[:24]} here.", code="unknown")
    rows = _batches_of(start, found).order_by("-planned_at", "-pk").distinct()
    total = rows.count()
    batches = list(
        rows.select_related("lot", "parent").defer("plan_text", "parent__plan_text")[:MOST_BATCHES]
    )
    drawing = _Gathering()
    drawing.batches(batches)
    drawing.tanks(batches, only=found if start is Kind.TANK else "")
    drawing.lots_in(batches)
    drawing.chemicals(batches)
    return Trace(
        start, found, drawing.in_order(), tuple(drawing.edges.values()), max(0, total - len(batches))
    )


def _known(kind: Kind, code: str) -> str:
    """The code as it is stored; "" when there is none."""
    column, rows = {
        Kind.CUSTOMER: ("code", Customer.objects),
        Kind.TANK: ("serial", Tank.objects),
        Kind.RESIN_LOT: ("code", ResinLot.objects),
        Kind.CHEMICAL_LOT: ("code", ChemicalLot.objects),
        Kind.BATCH: ("number", Batch.objects),
    }[kind]
    found = rows.filter(**{f"{column}__iexact": code}).values_list(column, flat=True).first()
    return str(found or "")


def _batches_of(kind: Kind, code: str) -> QuerySet[Batch]:
    if kind is Kind.BATCH:
        return Batch.objects.filter(Q(number=code) | Q(parent__number=code) | Q(children__number=code))
    if kind is Kind.TANK:
        return Batch.objects.filter(tank_links__visit__tank__serial=code)
    if kind is Kind.CUSTOMER:
        return Batch.objects.filter(tank_links__visit__customer__code=code)
    if kind is Kind.CHEMICAL_LOT:
        numbers = Movement.objects.filter(lot__code=code).values_list("reference", flat=True)
        return Batch.objects.filter(number__in=list(numbers.order_by().distinct()))
    children = LotParent.objects.filter(parent__code=code).values("child")
    return Batch.objects.filter(Q(lot__code=code) | Q(lot__in=children))


@dataclass(slots=True)
class _Gathering:
    """Nodes and edges as they are found, each once."""

    nodes: dict[tuple[str, str], Node] = field(default_factory=dict)
    edges: dict[tuple[tuple[str, str], tuple[str, str]], Edge] = field(default_factory=dict)

    def node(self, column: Column, kind: Kind, code: str, note: str = "", at: datetime | None = None) -> Node:
        made = Node(column, kind, code, note, at)
        return self.nodes.setdefault(made.key, made)

    def edge(self, start: Node, end: Node, count: int = 0) -> None:
        before = self.edges.get((start.key, end.key))
        total = count + (before.count if before else 0)
        self.edges[start.key, end.key] = Edge(start.key, end.key, total)

    def batch(self, batch: Batch) -> Node:
        return self.node(
            Column.BATCHES, Kind.BATCH, batch.number, batch.state, batch.started_at or batch.planned_at
        )

    def batches(self, batches: Iterable[Batch]) -> None:
        rows = list(batches)
        for batch in rows:
            self.batch(batch)
        shown = {batch.pk for batch in rows}
        for batch in rows:
            if batch.lot is not None:
                made = self.node(Column.MADE, Kind.RESIN_LOT, batch.lot.code, at=batch.lot.made_at)
                self.edge(self.batch(batch), made)
            if batch.parent_id in shown and batch.parent is not None:
                self.edge(self.batch(batch.parent), self.batch(batch))

    def tanks(self, batches: list[Batch], *, only: str) -> None:
        """Where the tanks came from, which batch they were in, and whom they went to."""
        links = BatchTank.objects.filter(batch__in=[batch.pk for batch in batches])
        if only:
            links = links.filter(visit__tank__serial=only)
        rows = links.select_related("visit__tank", "visit__customer", "visit__refilled_lot", "batch").defer(
            "batch__plan_text"
        )
        for link in rows.order_by("batch_id", "position"):
            visit = link.visit
            tank = self.node(Column.TANKS, Kind.TANK, visit.tank.serial, visit.state)
            customer = visit.customer
            came = self.node(Column.CAME_FROM, Kind.CUSTOMER, customer.code, customer.name)
            self.edge(came, tank, 1)
            self.edge(tank, self.batch(link.batch), 1)
            if link.is_filled and visit.refilled_lot is not None:
                made = self.node(Column.MADE, Kind.RESIN_LOT, visit.refilled_lot.code, at=visit.refilled_at)
                to = self.node(Column.WENT_TO, Kind.CUSTOMER, customer.code, customer.name)
                if visit.shipped_at is not None:
                    self.edge(made, to, 1)

    def lots_in(self, batches: list[Batch]) -> None:
        made = {batch.lot_id: batch for batch in batches if batch.lot_id is not None}
        for child, code, at in LotParent.objects.filter(child__in=made).values_list(
            "child_id", "parent__code", "parent__made_at"
        ):
            lot = self.node(Column.WENT_IN, Kind.RESIN_LOT, code, at=at)
            self.edge(lot, self.batch(made[child]))

    def chemicals(self, batches: list[Batch]) -> None:
        numbers = {batch.number: batch for batch in batches}
        moves = Movement.objects.filter(reference__in=numbers, lot__isnull=False, corrects__isnull=True)
        for number, code, chemical in (
            moves.order_by().values_list("reference", "lot__code", "lot__chemical").distinct()
        ):
            lot = self.node(Column.WENT_IN, Kind.CHEMICAL_LOT, code, chemical)
            self.edge(lot, self.batch(numbers[number]))

    def in_order(self) -> tuple[Node, ...]:
        """By column, batches by time, the rest by code; a customer nothing was shipped to is left out."""
        reached = {end for _, end in self.edges}
        kept = [
            node for node in self.nodes.values() if node.column is not Column.WENT_TO or node.key in reached
        ]
        columns = list(Column)
        return tuple(
            sorted(
                kept,
                key=lambda node: (
                    columns.index(node.column),
                    node.at.timestamp() if node.column is Column.BATCHES and node.at else 0.0,
                    node.code,
                ),
            )
        )
