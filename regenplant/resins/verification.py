"""Resin lots: shares of older lots that make at most a whole, and no lot that comes from itself."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.resins.models import LotParent

WHOLE = 1.000001
"""Shares are written as floats; under one, the rest is of unrecorded origin."""


def check_lots(look: Look) -> Iterator[Finding]:
    shares: dict[str, float] = {}
    parents: dict[str, list[str]] = {}
    for child, parent, fraction in LotParent.objects.values_list("child__code", "parent__code", "fraction"):
        look.saw()
        shares[child] = shares.get(child, 0.0) + fraction
        parents.setdefault(child, []).append(parent)
    for lot, share in shares.items():
        if share > WHOLE:
            yield Finding(
                "lot", f"Resin lot {lot} is made of {100 * share:.1f} % of other lots, more than a whole."
            )
    for lot in _from_themselves(parents):
        yield Finding("lot", f"Resin lot {lot} is, over its parents, made from itself.")


def _from_themselves(parents: dict[str, list[str]]) -> Iterator[str]:
    """Lots that are met again among their own ancestors."""
    done: set[str] = set()
    for start in parents:
        path: list[str] = [start]
        open_at: list[list[str]] = [list(parents[start])]
        while path:
            if not open_at[-1]:
                done.add(path.pop())
                open_at.pop()
                continue
            lot = open_at[-1].pop()
            if lot in path:
                yield lot
            elif lot not in done:
                path.append(lot)
                open_at.append(list(parents.get(lot, [])))


register(Check("lot", "Resin lots", "shares of resin lots", check_lots), place=55)
