"""The most that stood at the plant at one time, from the movements of a ledger: as 100 % substance and as product.

The substance follows from the movements alone. The product is carried along by mass balance: a delivery brings its substance divided
by its strength, and what is drawn takes product in the ratio of what stands in that tank. A movement that was taken back and the one
that takes it back are left out by the caller, so that a slip of the pen makes no peak.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

_SECONDS_PER_DAY = 86400.0


@dataclass(frozen=True, slots=True)
class Flow:
    """One movement, as the inventory sees it: ``source`` and ``target`` are tanks on site, None for anywhere else.

    ``strength_frac`` is that of what comes from outside [-]; None where it is not known, then the tank's own ratio holds.
    """

    at: datetime
    number: int
    grams_100: int
    source: int | None
    target: int | None
    strength_frac: float | None = None


@dataclass(frozen=True, slots=True)
class Peak:
    """The most of one chemical within a span of time; masses in kg. The two peaks may fall on different moments."""

    pure_kg: float
    pure_at: datetime | None
    """None where nothing ever stood there."""
    product_kg: float | None
    """None where the strength of what stood there is not known."""
    product_at: datetime | None
    mean_pure_kg: float
    """Over the whole span, each mass weighed by how long it stood."""
    days_present: float
    closing_pure_kg: float


@dataclass(slots=True)
class _Tanks:
    """Running masses by tank: whole grams of substance, and grams of product (None where not known)."""

    grams: dict[int, int]
    product: dict[int, float | None]

    def take(self, tank: int, grams: int) -> float | None:
        """Grams of product that leave with ``grams`` of substance."""
        held, product = self.grams.get(tank, 0), self.product.get(tank, 0.0)
        self.grams[tank] = held - grams
        leaves = product * grams / held if product is not None and held > 0 else None
        rest = product - leaves if product is not None and leaves is not None else None
        self.product[tank] = 0.0 if self.grams[tank] == 0 else rest
        return leaves

    def put(self, tank: int, grams: int, product: float | None) -> None:
        held, before = self.grams.get(tank, 0), self.product.get(tank, 0.0)
        if product is None and before and held > 0:
            product = before * grams / held  # found by a count: as what stands there
        self.grams[tank] = held + grams
        self.product[tank] = before + product if before is not None and product is not None else None

    @property
    def pure(self) -> int:
        return sum(self.grams.values())

    @property
    def whole_product(self) -> float | None:
        known = [self.product.get(tank, 0.0) for tank, grams in self.grams.items() if grams]
        return None if any(mass is None for mass in known) else float(sum(mass for mass in known if mass))


def peak_of(flows: Iterable[Flow], begins: datetime, ends: datetime) -> Peak:
    """The most that stood on site from ``begins`` until just before ``ends``; what stood there at the beginning counts.

    The order in which movements are given does not matter: they are taken by moment, then by number. ValueError when ``ends`` is not later.
    """
    if ends <= begins:
        raise ValueError("the span ends before it begins")
    tanks = _Tanks({}, {})
    best_pure: tuple[int, datetime | None] = (0, None)
    best_product: tuple[float, datetime | None] = (0.0, None)
    is_known, weighed, present, since, last = True, 0.0, 0.0, begins, 0
    is_begun = False

    def look(at: datetime) -> None:
        nonlocal best_pure, best_product, is_known
        if tanks.pure > best_pure[0]:
            best_pure = (tanks.pure, at)
        product = tanks.whole_product
        if product is None:
            is_known = False
        elif product > best_product[0] * (1.0 + 1e-12):
            best_product = (product, at)

    for flow in sorted(flows, key=lambda one: (one.at, one.number)):
        if flow.at >= ends:
            break
        if flow.at >= begins:
            if not is_begun:
                is_begun, last = True, tanks.pure
                look(begins)
            seconds = (flow.at - since).total_seconds()
            weighed, present, since = weighed + last * seconds, present + (seconds if last else 0.0), flow.at
        product = tanks.take(flow.source, flow.grams_100) if flow.source is not None else _arrives(flow)
        if flow.target is not None:
            tanks.put(flow.target, flow.grams_100, product)
        last = tanks.pure
        if flow.at >= begins:
            look(flow.at)
    if not is_begun:
        last = tanks.pure
        look(begins)
    seconds = (ends - since).total_seconds()
    weighed, present = weighed + last * seconds, present + (seconds if last else 0.0)
    return Peak(
        pure_kg=best_pure[0] / 1000.0,
        pure_at=best_pure[1],
        product_kg=best_product[0] / 1000.0 if is_known else None,
        product_at=best_product[1] if is_known else None,
        mean_pure_kg=weighed / (ends - begins).total_seconds() / 1000.0,
        days_present=present / _SECONDS_PER_DAY,
        closing_pure_kg=last / 1000.0,
    )


def _arrives(flow: Flow) -> float | None:
    return flow.grams_100 / flow.strength_frac if flow.strength_frac else None
