"""What of a logger's text cannot be read: the line, what stands there, and what is allowed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LineRefused:
    """One line that cannot be read."""

    line: int
    """Its number, from 1; 0 stands for the whole text."""
    what: str
    """What stands there."""
    allowed: str

    @property
    def sentence(self) -> str:
        """For the page: where, what stands there, and what is allowed."""
        where = f"Line {self.line}: " if self.line else ""
        return f"{where}{self.what}. Allowed is {self.allowed}."


class Unreadable(Exception):
    """A line that cannot be read, or with ``line`` 0 the whole text or a cell whose line is not known yet."""

    def __init__(self, line: int, what: str, allowed: str):
        super().__init__(what)
        self.line = LineRefused(line, what, allowed)


def shortened(text: str) -> str:
    """At most 30 characters of what stands there."""
    return text if len(text) <= 30 else f"{text[:29]}…"
