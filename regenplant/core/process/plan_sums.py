"""Sums over steps, with every part in the working."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.engineering.estimate import Estimate, Input


def summed(symbol: str, name: str, parts: Sequence[tuple[str, Estimate]]) -> Estimate:
    """The sum of figures of one kind; each part is named after its step. At least one part."""
    first = parts[0][1]
    inputs = tuple(
        Input(f"{symbol}_{index}", f"{label}: {part.name}", part.value, part.unit, part.kind)
        for index, (label, part) in enumerate(parts, start=1)
    )
    return Estimate(
        symbol=symbol,
        name=name,
        value=sum(part.value for _, part in parts),
        unit=first.unit,
        kind=first.kind,
        formula=" + ".join(entry.symbol for entry in inputs),
        inputs=inputs,
        method="sum over the steps",
        source="mass_balance",
        warnings=tuple(dict.fromkeys(warning for _, part in parts for warning in part.warnings)),
    )
