"""What the acts say about the rows: the last seal of every row, and rows that an act found other than the act before had left them."""

from __future__ import annotations

from dataclasses import dataclass, field

from regenplant.audit.acts import Act
from regenplant.audit.digests import KEPT_OF_BEFORE
from regenplant.audit.seals import before_and_after, parts_of

SEALED = "record.sealed"
"""The act that takes rows over as they stand."""


@dataclass(frozen=True, slots=True)
class Foreign:
    """A row that an act found other than the last act had left it: somebody wrote it in between."""

    number: int
    table: str
    key: str
    had_seal: bool

    @property
    def place(self) -> str:
        """How an act that accepts it names it."""
        return f"{self.number} {self.table} {self.key}"


@dataclass(slots=True)
class Replay:
    """State of the rows as the acts left them, act by act."""

    last: dict[str, dict[str, str]] = field(default_factory=dict)
    """By "table@shape" and key: digest after the last act that wrote the row; "" for a row that was removed."""
    shapes: dict[str, list[str]] = field(default_factory=dict)
    """By table: the names under which it is sealed, oldest first."""
    is_based: bool = False
    """Whether every row there was is sealed: from the first act on, or since rows from before were sealed."""
    is_read: bool = False
    """Whether the acts were read to their end."""
    removed: dict[tuple[str, str], tuple[int, str]] = field(default_factory=dict)
    """By table and key: number and name of the act that removed the row."""
    foreign: list[Foreign] = field(default_factory=list)
    accepted: dict[str, int] = field(default_factory=dict)
    """Foreign rows that a later act took over openly, with the number of that act."""

    def take(self, act: Act) -> None:
        """Take over what one act sealed."""
        if act.event == SEALED:
            self._accept(act)
        for name, rows in act.rows.items():
            own = self.last.get(name)
            if own is None:
                own = self._new_shape(name)
            for key, value in rows.items():
                before, after = before_and_after(value)
                was = own.get(key)
                if was is None or was[:KEPT_OF_BEFORE] != before:
                    self._differs(act.number, name, key, before, was)
                own[key] = after
                if not after:
                    self.removed[parts_of(name)[0], key] = (act.number, act.event)
        if act.number == 1 and act.rows:
            self.is_based = True

    def _new_shape(self, name: str) -> dict[str, str]:
        table, _ = parts_of(name)
        self.shapes.setdefault(table, []).append(name)
        self.last[name] = {}
        return self.last[name]

    def _differs(self, number: int, name: str, key: str, before: str, was: str | None) -> None:
        table, _ = parts_of(name)
        if was is None:
            for other in self.shapes[table]:
                if other != name and self.last[other].pop(key, None) is not None:
                    return  # sealed before a migration gave the table another shape: no digest of then fits one of now
            if before == "" or not self.is_based:
                return
        self.foreign.append(Foreign(number, table, key, was is not None))

    def _accept(self, act: Act) -> None:
        facts = act.recorded["facts"]["facts"]
        self.is_based = self.is_based or bool(facts.get("is_baseline"))
        self.accepted |= dict.fromkeys(facts.get("accepted", []), act.number)
