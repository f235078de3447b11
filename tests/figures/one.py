"""One instance, planned once in this process, as ``plan_instance`` does it: ``python -m tests.figures.one FILE SECONDS WORKERS``.

Prints one line of JSON.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from math import inf
from pathlib import Path

from regenplant.core.scheduling.bounds import lower_bound
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.first_come import first_come
from regenplant.core.scheduling.solve import Answer, Budget, solve
from regenplant.web.management.commands.plan_instance import BOUND_FRAC, searched_s


def measured(path: Path, seconds: float, workers: int, seed: int = 1) -> dict[str, object]:
    """Score, bound and gap, seconds until the first plan stood and until all was done, MiB, and the score of first come."""
    problem = problem_from(json.loads(path.read_text(encoding="utf-8")))
    began = time.monotonic()
    first_s: list[float] = []

    def on_first(answer: Answer) -> None:
        if not answer.unplaced:
            first_s.append(time.monotonic() - began)

    budget = Budget(seconds=searched_s(seconds, workers), workers=workers, clock=time.monotonic)
    answer = solve(problem, seed, budget, on_first=on_first)
    bound = answer.bound
    if not bound:
        left = max(seconds * BOUND_FRAC / 2, seconds - (time.monotonic() - began))
        known = inf if answer.unplaced else answer.score
        bound = lower_bound(Compiled(problem), left, time.monotonic, at_most=known).total
    whole_s = time.monotonic() - began
    verdict = check(problem, answer.plan)
    memory_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    memory_kib += workers * resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return {
        "feasible": verdict.is_feasible,
        "score": round(verdict.score.total, 2),
        "late_h": round(verdict.score.weighted_late_h, 1),
        "batches": verdict.score.batches,
        "bound": round(bound, 2),
        "first_s": round(first_s[0], 2) if first_s else None,
        "whole_s": round(whole_s, 1),
        "memory_mib": round(memory_kib / 1024),
        "first_come": round(check(problem, first_come(problem)).score.total, 2),
    }


if __name__ == "__main__":
    print(json.dumps(measured(Path(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3]))))
