"""Working out a printed formula from its printed inputs: the working that a person sees must give the value."""

from __future__ import annotations

import math
import re

from regenplant.core.engineering.estimate import Estimate

_WORDS = ("table", "set point", "on record", "solve", "lowest", "nothing", "sum of")
_NAMES = {"π": math.pi, "log10": math.log10}


def is_closed(estimate: Estimate) -> bool:
    """Whether the formula can be worked out by hand from its inputs (tables and solved equations cannot)."""
    return not estimate.formula.startswith(_WORDS) and "closed form" not in estimate.formula


def worked_out(estimate: Estimate) -> float:
    """The value of the formula with its inputs put in."""
    values: dict[str, object] = dict(_NAMES)
    for entry in estimate.inputs:
        seen = values.setdefault(entry.symbol, entry.value)
        assert seen == entry.value, f"{estimate.name}: symbol {entry.symbol} stands for two numbers"
    text = estimate.formula.replace("·", "*").replace("−", "-").replace("^", "**").replace(" ", "")
    names = set(re.findall(r"[^\W\d][\w]*", text))
    unknown = names - values.keys()
    assert not unknown, (
        f"{estimate.name}: {estimate.formula!r} uses {sorted(unknown)}, which are not among its inputs"
    )
    scope = {f"v{index}": value for index, value in enumerate(values.values())}
    by_name = {name: f"v{index}" for index, name in enumerate(values)}
    expression = re.sub(r"[^\W\d][\w]*", lambda match: by_name[match[0]], text)
    return float(eval(expression, {"__builtins__": {}}, scope))
