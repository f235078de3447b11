"""The list of everything the bench works out, and how a name that people type finds its quantity."""

from __future__ import annotations

import re
from functools import lru_cache

from regenplant.core.bench import (
    bases,
    beds,
    capacities,
    clean_water,
    dosing,
    heats,
    natural_waters,
    neutralizing,
    rinsing,
    scales,
    separations,
    strengths,
)
from regenplant.core.bench.quantity import Group, Quantity

_more: list[Quantity] = []


def register(quantity: Quantity) -> None:
    """Add a quantity that needs more than the core, such as the unit library. ValueError for a key that is taken."""
    if quantity.key in quantities():
        raise ValueError(f"the bench has {quantity.key} already")
    _more.append(quantity)
    quantities.cache_clear()
    _by_name.cache_clear()


_MODULES = (
    dosing,
    strengths,
    heats,
    beds,
    separations,
    clean_water,
    natural_waters,
    scales,
    neutralizing,
    rinsing,
    capacities,
    bases,
)


@lru_cache(maxsize=1)
def quantities() -> dict[str, Quantity]:
    """Every quantity by key, in the order of the groups."""
    found = [quantity for module in _MODULES for quantity in module.quantities()] + _more
    order = list(Group)
    found.sort(key=lambda quantity: order.index(quantity.group))
    return {quantity.key: quantity for quantity in found}


def plain_name(text: str) -> str:
    """A name as it is looked up: small letters, digits, single underscores; signs that mean something are spelled."""
    spelled = (
        text.lower()
        .replace("%", " percent ")
        .replace("é", "e")
        .replace("κ", "kappa")
        .replace("₀", "0")
        .replace("25°c", "25")
    )
    return re.sub(r"[^a-z0-9]+", "_", spelled).strip("_")


@lru_cache(maxsize=1)
def _by_name() -> dict[str, str]:
    names: dict[str, str] = {}
    for quantity in quantities().values():
        for name in (quantity.title, *quantity.aliases):
            names.setdefault(plain_name(name), quantity.key)
    names.update({plain_name(key): key for key in quantities()})
    return names


def quantity_named(name: str) -> Quantity | None:
    """The quantity a person means by its key, title or another usual name; None for an unknown one."""
    key = _by_name().get(plain_name(name))
    return quantities()[key] if key else None


def known_names() -> list[str]:
    """Every name that is understood, for suggestions."""
    return list(_by_name())
