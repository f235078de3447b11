"""Whether a signed record stands open for correction.

Entries, readings and their checks close when a batch is judged. What is found wrong later is corrected after the record was
reopened; the app that keeps decisions says in ``AppConfig.ready`` whether it is::

    reopened.ask(is_open_for_correction)
"""

from __future__ import annotations

from collections.abc import Callable

_where: list[Callable[[int], bool]] = []


def ask(finder: Callable[[int], bool]) -> None:
    """Say how it is found, by the key of the batch."""
    _where[:] = [finder]


def is_reopened(batch_id: int) -> bool:
    """Whether the signed record of this batch is open for correction; False where no record is ever reopened."""
    return bool(_where) and _where[0](batch_id)
