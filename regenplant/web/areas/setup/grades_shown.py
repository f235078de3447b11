"""Published grades as their page shows them."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.sources import source
from regenplant.core.process.grades import Grade, GradeTest, allowed
from regenplant.core.process.measurements import MEASUREMENTS
from regenplant.web.areas.setup.shown import both
from regenplant.web.drawing.limit_bar import limit_text


@dataclass(frozen=True, slots=True)
class FigureView:
    """One figure of a grade."""

    name: str
    allowed: str
    how: str
    is_from_memory: bool
    note: str
    rows: tuple[tuple[str, str], ...]
    """A limit that goes by temperature or by pH, row by row."""


@dataclass(frozen=True, slots=True)
class GradeView:
    """One grade with all its figures."""

    key: str
    name: str
    edition: str
    source: str
    notes: str
    barred: str
    tests: tuple[FigureView, ...]


def grade_view(grade: Grade, system: str) -> GradeView:
    return GradeView(
        grade.key,
        grade.name,
        grade.edition,
        source(grade.source).citation(),
        grade.notes,
        grade.barred,
        tuple(_test(test, system) for test in grade.tests),
    )


def _test(test: GradeTest, system: str) -> FigureView:
    entry = MEASUREMENTS[test.measurement]
    words = (
        allowed(test)
        if test.table or test.by_ph
        else limit_text(test.low, test.high, kind=entry.kind, system=system)
    )
    rows = [
        (both(kelvin, "temperature", system), both(most, entry.kind, system)) for kelvin, most in test.table
    ]
    rows += [(f"pH {ph:.1f}", both(most, entry.kind, system)) for ph, most in test.by_ph]
    return FigureView(entry.name, words, test.how.value, test.is_from_memory, test.note, tuple(rows))
