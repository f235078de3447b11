"""Numbers that run without gaps, and the ones that are missing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator


def missing_numbers(numbers: Iterable[int], first: int | None = None) -> Iterator[tuple[int, int]]:
    """(first, last) of each stretch that is missing between these numbers, and before them from ``first`` on."""
    expected = first
    for number in sorted(numbers):
        if expected is not None and number > expected:
            yield expected, number - 1
        if expected is None or number >= expected:
            expected = number + 1


def shown_gap(gap: tuple[int, int], prefix: str = "") -> str:
    """ "B-10004 is", "B-10004 to B-10007 are": for a sentence."""
    first, last = gap
    return f"{prefix}{first} is" if first == last else f"{prefix}{first} to {prefix}{last} are"


def running(texts: Iterable[str], prefix: str) -> list[int]:
    """The numbers in texts such as "B-10004"; texts of another form are left out."""
    return [
        int(text[len(prefix) :])
        for text in texts
        if text.startswith(prefix) and text[len(prefix) :].isdigit()
    ]
