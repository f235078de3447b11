"""Resin lots: shares of older lots that make at most a whole, no lot that comes from itself, parts that follow from the parents',
and a store of resin that never holds less than nothing."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Sum

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.core.process.resin_lots import SMALLEST_SHARE_FRAC, Part
from regenplant.resins import bodies
from regenplant.resins.models import LotMovement, LotParent, ResinLot

WHOLE = 1.000001
"""Shares are written as floats; under one, the rest is of unrecorded origin."""
CLOSE = 1e-5
"""How far stored parts may be off those that follow from the parents: both are rounded, a generation at a time."""


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
    ringed = list(_from_themselves(parents))
    for lot in ringed:
        yield Finding("lot", f"Resin lot {lot} is, over its parents, made from itself.")
    if not ringed:
        yield from _parts_unlike_parents(parents)


def _parts_unlike_parents(parents: dict[str, list[str]]) -> Iterator[Finding]:
    """Lots whose stated parts are not those of the lots that went in; a lot of an older program states none."""
    for lot in ResinLot.objects.exclude(parts=[]).prefetch_related("parent_links__parent").iterator(500):
        links = list(lot.parent_links.all())
        try:
            stated = bodies.from_rows(lot.parts)
        except (TypeError, ValueError):
            yield Finding("lot", f"Resin lot {lot.code} states parts that cannot be read.")
            continue
        if not links and stated[0].origin == lot.code and stated[0].share_frac == 1.0:
            continue
        older = {link.parent_id: link.parent for link in links}
        follows = bodies.blend_of({link.parent_id: link.fraction for link in links}, older, made=lot.code, cycles=lot.cycles)  # fmt: skip
        if not _alike(stated, follows):
            yield Finding(
                "lot", f"Resin lot {lot.code} states other parts than the lots that went in make up."
            )


def _alike(stated: tuple[Part, ...], follows: tuple[Part, ...]) -> bool:
    """Same deliveries with the same shares and cycles; those hardly above the smallest share may be told apart or not."""
    here, there = ({(part.origin, part.is_recorded): part for part in parts} for parts in (stated, follows))
    for key in {*here, *there}:
        one, other = here.get(key), there.get(key)
        if one is None or other is None:
            return (
                max((part.share_frac for part in (one, other) if part), default=0.0) < 2 * SMALLEST_SHARE_FRAC
            )
        if abs(one.share_frac - other.share_frac) > CLOSE or abs(one.cycles_mean - other.cycles_mean) > CLOSE * (1 + other.cycles_mean):  # fmt: skip
            return False
    return True


def check_store(look: Look) -> Iterator[Finding]:
    """The store of resin: of no lot is there less than nothing."""
    sums = LotMovement.objects.order_by().values_list("lot__code").annotate(Sum("exhausted_m3"))
    for code, total in sums.order_by("lot__code"):
        look.saw()
        if total < -bodies.NOTHING_M3:
            yield Finding(
                "lot", f"Of resin lot {code} {-total * 1000:.1f} L less than nothing stand in the store."
            )


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
register(Check("store", "Resin store", "lots in the store of resin", check_store), place=56)
