"""Very many batches of an invented plant, cheaply: batches, movements, rows, shares and months as the program would have written them."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db import connection, transaction

from regenplant.core.process.use_audit import NAMES, Sums, compared_sums, shared_sums, shift_at, variance_step
from regenplant.use.models import UseMonth, UseRow, UseShare
from regenplant.use.services._rows import CELL_FIELDS, Cell, cell_of_row, cell_of_share, sums_of

VESSELS = {
    "C1": ("sac_h", ("hcl",)),
    "C2": ("sac_h", ("hcl",)),
    "S1": ("sac_na", ("nacl",)),
    "A1": ("sba_1", ("naoh",)),
    "A2": ("sba_2", ("naoh",)),
    "M1": ("mb", ("hcl", "naoh")),
    "M2": ("mb", ("hcl", "naoh")),
}
SHIFTS = ("06:00", "14:00", "22:00")
CUSTOMERS = 300
CHUNK = 5000


@dataclass(frozen=True)
class Spread:
    """How many batches from which day on, and how many a day."""

    batches: int
    first: date
    per_day: float
    begin: int = 0
    """Number the first one counts from."""


def made(spread: Spread, seed: int = 7) -> Iterator[tuple[UseRow, list[UseShare]]]:
    """Rows with their shares, oldest first. The same seed gives the same plant."""
    dice = random.Random(seed)
    for number in range(spread.begin, spread.begin + spread.batches):
        start = datetime(spread.first.year, spread.first.month, spread.first.day, 5, tzinfo=UTC) + timedelta(
            days=(number - spread.begin) / spread.per_day, minutes=dice.randrange(60)
        )
        vessel = dice.choice(list(VESSELS))
        family, chemicals = VESSELS[vessel]
        volume_ml = dice.randrange(200_000, 450_000)
        customers = {
            f"K-{dice.randrange(CUSTOMERS):03d}": dice.random() + 0.1 for _ in range(dice.randrange(1, 5))
        }
        lots = {
            f"R-{number - back}": dice.random() + 0.1 for back in (40, 55) if number - spread.begin >= back
        } or {"": 1.0}
        for chemical in chemicals:
            planned = round(volume_ml * 0.1)
            used = round(planned * dice.gauss(1.0, 0.03))
            count, total, squares = compared_sums(variance_step(used, planned))
            sums = Sums(
                1, volume_ml, round(planned * 0.4), planned, used, used, count, total, squares, used, used
            )
            row = UseRow(
                number=f"B-{10001 + number}", chemical=chemical, started_at=start, day=start.date(),
                shift=shift_at(start.hour * 60 + start.minute, SHIFTS), family=family, resin_type=family.upper(),
                segregation_class=dice.choice("ABCD"), vessel=vessel, recipe="MANY", volume_form="H", **_values(sums),
            )  # fmt: skip
            weights = {
                "customer": customers,
                "resin_lot": lots,
                "chemical_lot": {f"L-{chemical}-{start:%Y%m}": 1.0},
            }
            shares = [
                UseShare(row=row, kind=kind, key=key, chemical=chemical, day=row.day, **_values(part))
                for kind, by_key in weights.items()
                for key, part in shared_sums(sums, by_key).items()
            ]
            yield row, shares


def _values(sums: Sums) -> dict[str, int]:
    return {name: getattr(sums, name) for name in NAMES}


def build(spread: Spread, seed: int = 7) -> int:
    """Write them in chunks; returns how many rows."""
    cells: dict[Cell, Sums] = {}
    count = 0
    chunk: list[tuple[UseRow, list[UseShare]]] = []

    def flush() -> None:
        with transaction.atomic():
            UseRow.objects.bulk_create([row for row, _ in chunk], batch_size=500)
            shares = []
            for row, own in chunk:
                for share in own:
                    share.row = row
                    shares.append(share)
            UseShare.objects.bulk_create(shares, batch_size=500)
        chunk.clear()

    for row, shares in made(spread, seed):
        counted = [(cell_of_row(row), sums_of(row))]
        counted += [(cell, sums_of(share)) for share in shares if (cell := cell_of_share(row, share))]
        for cell, sums in counted:
            cells[cell] = cells.get(cell, Sums()) + sums
        chunk.append((row, shares))
        count += 1
        if len(chunk) >= CHUNK:
            flush()
    flush()
    UseMonth.objects.bulk_create(
        [
            UseMonth(**dict(zip(CELL_FIELDS, cell, strict=True)), **_values(sums))
            for cell, sums in cells.items()
        ],
        batch_size=500,
    )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return count
