"""Which segregation class an act concerns, found by the names of its arguments.

An app says in ``AppConfig.ready`` how the class of its things is found::

    classes.class_by("batch_id", lambda pk: Batch.objects.filter(pk=pk).values_list("segregation_class", flat=True))

A finder gives the classes of one argument's value: none when the thing is not known or has no class (the act itself then
says so). An act on several things concerns the classes of all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

EVERY_CLASS = "*"
Finder = Callable[[Any], Iterable[str]]
_FINDERS: dict[str, Finder] = {}


def class_by(argument: str, finder: Finder) -> None:
    """Register how the classes of an argument of this name are found."""
    if argument in _FINDERS and _FINDERS[argument].__module__ != finder.__module__:
        raise RuntimeError(f"How the class of {argument!r} is found is said in two apps.")
    _FINDERS[argument] = finder


def names() -> frozenset[str]:
    """The arguments whose class can be found."""
    return frozenset(_FINDERS)


def classes_of(arguments: Mapping[str, Any]) -> frozenset[str]:
    """The classes that an act with these arguments concerns; empty when it concerns none."""
    return frozenset(
        found
        for name, value in arguments.items()
        if name in _FINDERS and value not in (None, "")
        for found in _FINDERS[name](value)
        if found
    )


# An act that says its class itself: to accept a tank to a class, to add a tank of a class.
class_by("segregation_class", lambda value: (str(value),))
