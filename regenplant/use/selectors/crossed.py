"""Customers and lots together: what the resin of one customer took of one lot, read from the batches of the one that is asked for.

All resin of a bed is fed from the same stock, so that the lots of a chemical divide a customer's part as they divide the batch. Of which
resin lots a customer's part consists stands with it, from the tanks as they were emptied (``UseShare.lots``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from regenplant.core.errors import RecordRefused
from regenplant.core.process.use_audit import NAMES, SPLIT, Sums, shared_sums
from regenplant.use.models import UseRow, UseShare
from regenplant.use.selectors.question import Question, stored_code

MOST_CROSSED = 20_000
"""Lines that are taken apart for one page: years of a large customer."""
CUSTOMER, RESIN_LOT, CHEMICAL_LOT = UseShare.Kind.values


@dataclass(frozen=True, slots=True)
class Part:
    """A part of one row, by the code of each kind that is asked for."""

    row: UseRow
    sums: Sums
    keys: Mapping[str, str] = field(default_factory=dict)


def parts_of(question: Question) -> list[Part]:
    """The parts that are asked for, newest batch first. A handful of queries.

    Raises: RecordRefused for more than ``MOST_CROSSED`` lines.
    """
    narrowed = {kind: stored_code(code) for kind, code in question.narrowed}
    kind = CUSTOMER if CUSTOMER in narrowed else min(narrowed)
    rows = UseRow.objects.filter(
        day__gte=question.first,
        day__lte=question.last,
        pk__in=UseShare.objects.filter(
            kind=kind, key=narrowed[kind], day__gte=question.first, day__lte=question.last
        ).values("row"),
        **{name: value for name in question.NARROWED_ROWS if (value := getattr(question, name))},
    )
    if rows.count() > MOST_CROSSED:
        raise RecordRefused(
            f"More than {MOST_CROSSED} lines lie in this period; customers and lots together are read line by line. Choose a shorter one.",
            field="first",
            code="too_long",
        )
    found = []
    asked = rows.order_by("-day", "-started_at", "-number", "chemical").prefetch_related("shares")
    for row in asked:
        for keys, sums in _parts(row, question.kinds):
            if all(keys[name] == code for name, code in narrowed.items()):
                found.append(Part(row, sums, keys))
    return found


def _parts(row: UseRow, kinds: Iterable[str]) -> Iterable[tuple[dict[str, str], Sums]]:
    """A row divided by every kind: by customer first, each of them by the lots of their tanks, then by the lots of the chemical."""
    shares = list(row.shares.all())
    first = CUSTOMER if CUSTOMER in kinds else RESIN_LOT
    for share in shares:
        if share.kind != first:
            continue
        parts: list[tuple[dict[str, str], Sums]] = [({first: share.key}, sums_of(share))]
        if RESIN_LOT in kinds and first != RESIN_LOT:
            parts = _divided(parts, RESIN_LOT, share.lots or _volumes(shares, RESIN_LOT))
        if CHEMICAL_LOT in kinds:
            parts = _divided(parts, CHEMICAL_LOT, _weights(shares))
        yield from parts


def _divided(
    parts: list[tuple[dict[str, str], Sums]], kind: str, weights: Mapping[str, float]
) -> list[tuple[dict[str, str], Sums]]:
    return [
        ({**keys, kind: key}, part)
        for keys, sums in parts
        for key, part in shared_sums(sums, weights).items()
    ]


def _weights(shares: Iterable[UseShare]) -> dict[str, float]:
    """Chemical lots by their mass in the batch; where all of it was taken back, by volume."""
    by_mass = {share.key: float(max(share.used_grams, 0)) for share in shares if share.kind == CHEMICAL_LOT}
    return by_mass if any(by_mass.values()) else _volumes(shares, CHEMICAL_LOT)


def _volumes(shares: Iterable[UseShare], kind: str) -> dict[str, float]:
    return {share.key: float(share.volume_ml) for share in shares if share.kind == kind}


def of_whole_row(parts: list[Part]) -> Part:
    """Parts of one row together: masses and volume added, batch and comparison once."""
    row = parts[0].row
    added = {name: sum(getattr(part.sums, name) for part in parts) for name in SPLIT}
    return Part(
        row, Sums(**{name: getattr(parts[0].sums, name) for name in NAMES if name not in SPLIT}, **added)
    )


def sums_of(row: UseRow | UseShare) -> Sums:
    """The sums of a row or a share."""
    return Sums(*(getattr(row, name) for name in NAMES))
