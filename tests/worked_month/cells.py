"""Every cell of the audit's files, as the recount would write it; and how near each must be.

A column that is missing here, or that a file no longer has, is a difference too: heads are compared as a whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from tests.worked_month.recount import BatchFigures, Group, Row, Rows

FORMULA = {"hcl": "HCl", "naoh": "NaOH", "nacl": "NaCl"}
NAMES = {"hcl": "Hydrochloric acid", "naoh": "Sodium hydroxide (caustic)", "nacl": "Sodium chloride (brine)"}
KG = 1e-3
PERCENT = 2e-3
"""A variance is kept in hundred-thousandths and shown with three decimals of a per cent."""
MOLAR = 3e-4
"""Molar masses to five digits here and there, relative."""

Sheet = list[dict[str, Any]]


def sheet_of(book: Any, title: str) -> Sheet:
    """The rows of a sheet by their heads. No head stands twice."""
    head, *lines = [[cell.value for cell in row] for row in book[title].iter_rows()]
    assert len(set(head)) == len(head), head
    return [dict(zip(head, line, strict=True)) for line in lines]


def compare(line: Mapping[str, Any], want: Mapping[str, Any], about: str) -> None:
    """Every cell of the line, and no other."""
    assert set(line) == set(want), about
    for head, value in want.items():
        assert line[head] == value, f"{about}, {head}: {line[head]!r} is not {value!r}"


def _near(value: float, absolute: float = 1e-9, relative: float = 0.0) -> Any:
    return pytest.approx(value, abs=absolute, rel=relative)


def batch_cells(one: BatchFigures) -> dict[str, Any]:
    """One line of the batches."""
    ratio = one.used_grams / one.theory_grams
    return {
        "Batch": one.number,
        "Started": one.started_at.isoformat(timespec="seconds"),
        "Shift": one.shift,
        "Family": one.family,
        "Class": one.segregation_class,
        "Vessel": one.vessel,
        "Recipe": one.recipe,
        "Chemical": FORMULA[one.chemical],
        "Chemical, name": NAMES[one.chemical],
        "Theory, kg": _near(one.theory_grams / 1000, KG, MOLAR),
        "Plan, kg": _near(one.planned_grams / 1000, KG),
        "Used, kg": _near(one.used_grams / 1000),
        "Used − plan, kg": _near((one.used_grams - one.planned_grams) / 1000, KG),
        "Used − plan, %": _near(100 * one.variance, PERCENT),
        "Ratio": _near(ratio, 1e-4, MOLAR),
        "Efficiency, %": _near(100 / ratio, PERCENT, MOLAR) if ratio else None,
        "Dose, g/L": _near(one.used_grams / one.volume_ml * 1000, 1e-6),
        "Resin counted in form": one.volume_form,
        "Resin, L": _near(one.volume_ml / 1000),
        "Cost, EUR": _near(one.cost_milli / 1000) if one.priced_grams else None,
    }


def group_cells(chemical: str, group: Group, slack: float) -> dict[str, Any]:
    """One line of totals or groups; ``slack`` is what apportioning to whole numbers may have moved, in grams, millilitres and thousandths."""
    kg = max(slack, 0.5 * group.batches) / 1000
    part = 100 * kg / (group.planned_grams / 1000)
    used = _near(group.used_grams / 1000, slack / 1000 + 1e-9)
    return {
        "Chemical": FORMULA[chemical],
        "Batches": group.batches,
        "Theory, kg": _near(group.theory_grams / 1000, kg, MOLAR),
        "Plan, kg": _near(group.planned_grams / 1000, kg),
        "Used, kg": used,
        "Used − plan, %": _near(100 * group.variance, PERCENT + 2 * part),
        "Mean of batches, %": _near(100 * group.mean_variance, PERCENT),
        "Spread of batches, %": None if group.spread is None else _near(100 * group.spread, PERCENT),
        "Batches compared": len(group.variances),
        "Ratio": _near(group.ratio, 1e-4, MOLAR + part / 50),
        "Efficiency, %": _near(100 / group.ratio, PERCENT, MOLAR + part / 50) if group.ratio else None,
        "Dose, g/L": _near(group.dose_g_per_l, 1e-6, part / 50 if slack else 1e-9),
        "Resin, L": _near(group.volume_ml / 1000, slack / 1000 + 1e-9),
        "Cost, EUR": _near(group.cost_milli / 1000, slack / 1000 + 1e-9) if group.priced_grams else None,
    }


def movement_cells(row: Row) -> dict[str, Any]:
    """One line of the movements behind the batches."""
    grams = row["grams_100"] * (1 if row["to_place__kind"] == "batch" else -1)
    return {
        "Movement": row["number"],
        "At": row["moved_at"].isoformat(timespec="seconds"),
        "Batch": row["reference"],
        "Chemical": FORMULA[row["chemical"]],
        "Chemical lot": row["lot__code"],
        "From": row["from_place__code"],
        "To": row["to_place__code"],
        "As 100 %, kg": _near(grams / 1000),
        "As 100 %, g, into the batch": grams,
        "Takes back": row["corrects__number"],
        "Reason": row["reason"] or None,
        "By": row["moved_by__full_name"],
    }


def movements_behind(rows: Rows) -> list[Row]:
    """Every movement into a batch or back out of one."""
    return [row for row in rows["movements"] if "batch" in (row["from_place__kind"], row["to_place__kind"])]


def same_sums(have: Any, want: Group, *, slack: float, is_exact: bool, about: object) -> None:
    """Sums of a group or a total, each of them, and what follows from them. ``is_exact``: grams used are the ledger's own."""
    rounding = max(slack, 0.5 * want.batches)
    assert have.batches == want.batches, about
    assert have.compared == len(want.variances), about
    assert have.used_grams == _near(want.used_grams, 0.0 if is_exact else slack), about
    assert have.regenerating_grams == have.used_grams, about
    for name in ("volume_ml", "planned_grams", "cost_milli", "priced_grams"):
        assert getattr(have, name) == _near(getattr(want, name), rounding), (about, name)
    assert have.theory_grams == _near(want.theory_grams, rounding, MOLAR), about
    steps = [100_000 * one for one in want.variances]
    assert have.variance_sum == _near(sum(steps), 0.5 * want.batches), about
    widest = max(abs(one) for one in steps) + 1
    assert have.variance_squares == _near(sum(one**2 for one in steps), widest * want.batches), about
