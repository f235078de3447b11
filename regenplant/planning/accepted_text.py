"""What an acceptance keeps: problem, plan and notes as canonical text, so that its digest can be worked out again."""

from __future__ import annotations

import json
from typing import Any

from regenplant.core.process.canonical import canonical_text
from regenplant.planning.decided import decided_from, with_decisions
from regenplant.planning.kept import problem_from, problem_to
from regenplant.planning.models import DayPlan


def accepted_text(row: DayPlan) -> str:
    """Canonical text of a draft with what people decided."""
    assert row.problem is not None
    decisions = list(row.decisions.all())
    problem = with_decisions(problem_from(row.problem), [decided_from(one.content) for one in decisions])
    return canonical_text(
        {
            "problem": problem_to(problem),
            "plan": row.plan,
            "notes": row.notes,
            "decisions": [one.sentence for one in decisions],
        }
    )


def accepted_content(text: str) -> dict[str, Any]:
    """What the text says."""
    found: dict[str, Any] = json.loads(text)
    return found
