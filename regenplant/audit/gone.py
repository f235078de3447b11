"""Numbers whose records are gone by an act: none of them is missing, and none is given out again.

An app that removes records says which numbers went with them, in ``AppConfig.ready``::

    gone.ask(purged_numbers)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

Source = Callable[[str], Iterable[str]]
_SOURCES: list[Source] = []


def ask(source: Source) -> None:
    """Add a source: it gets a prefix such as "B-" and gives the numbers that begin with it."""
    if source not in _SOURCES:
        _SOURCES.append(source)


def numbers(prefix: str) -> list[str]:
    """The numbers with this prefix whose records are gone."""
    return [number for source in _SOURCES for number in source(prefix)]
