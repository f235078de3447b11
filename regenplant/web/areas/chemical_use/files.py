"""The audit as files: all batches of the question as CSV, and a workbook with totals, groups, batches and the movements behind them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from regenplant import units
from regenplant.chemicals.models import Movement, Place
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.selectors import profile
from regenplant.use.naming import names_of, narrowed_words
from regenplant.use.selectors import Audit, UseLine, as_line
from regenplant.use.watching import Watch
from regenplant.web.active_units import active
from regenplant.web.presenters.chemical_use import watch_sentence
from regenplant.web.tables import export
from regenplant.web.tables.chemical_use import GroupsFile, LinesFile, SumsFile
from regenplant.web.tables.export import Cell

MOST_LINES = 20_000
"""Lines of one file: a year of a large plant, and a file that still opens."""


def _asked(rows: QuerySet[Any] | list[UseLine]) -> list[UseLine]:
    count = rows.count() if isinstance(rows, QuerySet) else len(rows)
    if count > MOST_LINES:
        raise RecordRefused(
            f"{count} lines are too many for one file, at most {MOST_LINES}. Choose a shorter period, or one chemical.",
            code="too_long",
        )
    return [as_line(row) for row in rows]


def line_file(rows: QuerySet[Any] | list[UseLine], watch: Watch, currency: str) -> bytes:
    """Every line as CSV. Raises: RecordRefused for more than ``MOST_LINES``."""
    return export.as_csv(LinesFile(_asked(rows), watch=watch, currency=currency))


def workbook(found: Audit, rows: QuerySet[Any] | list[UseLine], currency: str) -> bytes:
    """Totals, groups, batches, movements, and what they mean. Numbers are numbers, units stand in the heads.

    Raises: RecordRefused for more than ``MOST_LINES`` batches.
    """
    lines = _asked(rows)
    names = names_of(found.question.by, (group.key for group in found.groups))
    look: dict[str, Any] = {"watch": found.watch, "currency": currency}
    groups = GroupsFile(
        found.groups,
        names=names,
        links={id(group): "" for group in found.groups},
        head=found.question.by.label.capitalize(),
        **look,
    )
    sheets = {
        "Totals": export.rows(SumsFile(found.totals, **look)),
        f"By {found.question.by.label}": export.rows(groups),
        "Batches": export.rows(LinesFile(lines, **look)),
        "Movements": _movements({line.row.number for line in lines}),
        "About": _about(found, currency),
    }
    return export.as_book(sheets)


def _movements(numbers: set[str]) -> Iterator[list[Cell]]:
    """Every movement into these batches and back, as the ledger has it."""
    unit = units.unit_text("mass", active())
    yield [
        "Movement", "At", "Batch", "Chemical", "Chemical lot", "From", "To", f"As 100 %, {unit}", "As 100 %, g, into the batch",
        "Takes back", "Reason", "By",
    ]  # fmt: skip
    ordered = sorted(numbers)
    for begin in range(0, len(ordered), 500):
        rows = (
            Movement.objects.filter(reference__in=ordered[begin : begin + 500])
            .select_related("lot", "from_place", "to_place", "moved_by", "corrects")
            .order_by("number")
        )
        for row in rows:
            kinds = (row.from_place.kind, row.to_place.kind)
            if Place.Kind.BATCH not in kinds:
                continue
            sign = 1 if row.to_place.kind == Place.Kind.BATCH else -1
            shown = units.shown_value(sign * row.grams_100 / 1000.0, "mass", active())
            yield [
                row.number, timezone.localtime(row.moved_at).isoformat(timespec="seconds"), row.reference, Chemical(row.chemical).formula,
                row.lot.code if row.lot else None, row.from_place.code, row.to_place.code, float(f"{shown:.10g}"), sign * row.grams_100,
                row.corrects.number if row.corrects else None, row.reason, row.moved_by.full_name,
            ]  # fmt: skip


def _about(found: Audit, currency: str) -> Iterator[list[Cell]]:
    question = found.question
    pairs = [(name, getattr(question, name)) for name in _NARROWING if getattr(question, name)]
    yield ["What", "Says"]
    yield ["Plant", profile().name]
    yield ["First day", question.first.isoformat()]
    yield ["Last day, counted in", question.last.isoformat()]
    yield ["Groups by", question.by.label]
    yield ["Narrowed to", narrowed_words(pairs) or "nothing"]
    yield ["Counts", "Batches by the day they were started, at the plant."]
    yield [
        "Theory",
        "What the eluted load asks for by stoichiometry; nothing where a chemical elutes nothing.",
    ]
    yield [
        "Plan",
        "The frozen plan of each batch, of the steps that ended; later edits of recipes do not change it.",
    ]
    yield ["Used", "What left the stock by the ledger, less what was taken back; as 100 % substance."]
    yield [
        "Ratio, efficiency",
        "Regenerant fed over theory, and its inverse, without what cleaned, sanitized or separated.",
    ]
    yield ["Watch", watch_sentence(found.watch)]
    yield [
        "Cost",
        f"In {currency}, by the price of each chemical lot; a mass without a price counts nothing."
        if currency
        else "No price is entered.",
    ]


_NARROWING = ("chemical", "family", "segregation_class", "vessel", "shift", "customer", "resin_lot", "chemical_lot")  # fmt: skip
