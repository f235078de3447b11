"""Acts on reporting thresholds: the plant writes its own figure with the paper it stands on, or takes it back."""

from __future__ import annotations

from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import one_of, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import ThresholdFigure
from regenplant.chemicals.reporting import own_figures
from regenplant.core.errors import RecordRefused
from regenplant.core.process.thresholds import Counted, ThresholdKind
from regenplant.core.process.vocabulary import Chemical

MOST_KG = 1e6
LEAST_PAPER = 10


@use_case("threshold.written", permission="chemical.threshold")
def write_threshold(
    *,
    by: By,
    chemical: str,
    kind: str,
    limit_kg: float | None,
    counted: str = Counted.PURE.value,
    value_as_typed: str = "",
    paper: str,
) -> Outcome:
    """The plant's own figure; ``limit_kg`` None takes the plant's own back. ``result`` is the row.

    ``paper`` names the permit, letter or rule, and who confirmed it. Raises: RecordRefused, OutOfRange.
    """
    one_of(chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    one_of(kind, [item.value for item in ThresholdKind], "The kind of threshold", field="kind")
    one_of(counted, [item.value for item in Counted], "What is counted", field="counted")
    before = own_figures().get((chemical, kind))
    if limit_kg is not None:
        within(limit_kg, 0.001, MOST_KG, "The threshold", "mass", field="limit_kg")
    elif before is None or before.limit_grams is None:
        raise RecordRefused(
            "The plant has no figure of its own here, so there is none to take back.",
            field="limit_kg",
            code="no_own",
        )
    row = ThresholdFigure.objects.create(
        chemical=chemical,
        kind=kind,
        limit_grams=None if limit_kg is None else max(round(limit_kg * 1000.0), 1),
        counted=counted,
        value_as_typed=words_of(value_as_typed, "The figure", field="limit_kg", most=40),
        paper=words_of(paper, "What it stands on", field="paper", most=200, least=LEAST_PAPER),
        written_by=by.user,
        written_at=by.at,
    )
    return Outcome(
        subject=(
            "threshold",
            f"{chemical}/{kind}",
            f"{Chemical(chemical).label}, {ThresholdKind(kind).label}",
        ),
        before={"limit_grams": before.limit_grams if before else None},
        after={"limit_grams": row.limit_grams, "counted": counted},
        facts={
            "shown": units.twin(limit_kg, "mass") if limit_kg is not None else "",
            "counted": Counted(counted).label,
            "paper": row.paper,
        },
        result=row,
    )


def _written(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    if not facts.get("shown"):
        return f"{subject}: the plant’s own figure was taken back ({facts.get('paper', '')})"
    return f"{subject}: the plant’s own figure is {facts['shown']}, {facts['counted']} ({facts['paper']})"


say("threshold.written", _written)
