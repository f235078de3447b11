"""What rooms above quality hold against a release.

A room that keeps something which must be finished before a batch leaves says so in ``AppConfig.ready``::

    guards.register("paper_forms", unconfirmed_words)

The sentences stand among the reasons why a batch is not released yet, and the release is refused with them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from regenplant.batches.models import Batch

Guard = Callable[[Batch], Iterable[str]]
_GUARDS: dict[str, Guard] = {}


def register(name: str, guard: Guard) -> None:
    """Add a guard; a name is registered once, the later one holds."""
    _GUARDS[name] = guard


def open_about(batch: Batch) -> tuple[str, ...]:
    """The sentences of all guards; empty when nothing is held against a release."""
    return tuple(sentence for name in sorted(_GUARDS) for sentence in _GUARDS[name](batch))
