"""What a lifecycle is: a table of moves with their guards, the offers it makes and the moves it refuses."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from regenplant.core.errors import TransitionRefused


@dataclass(frozen=True, slots=True)
class Blocker:
    """Why an action may not be taken now; the sentence is for people."""

    code: str
    sentence: str


S = TypeVar("S", bound=StrEnum)
A = TypeVar("A", bound=StrEnum)
Snapshot = TypeVar("Snapshot")
Guard = Callable[[Snapshot], "Blocker | None"]


@dataclass(frozen=True, slots=True)
class Rule(Generic[S, Snapshot]):
    """One legal move: where to, which permission, which guards. ``to`` None: back to where it was held from."""

    to: S | None
    permission: str
    guards: tuple[Guard[Snapshot], ...] = ()


@dataclass(frozen=True, slots=True)
class Offer(Generic[A]):
    action: A
    permission: str
    blockers: tuple[Blocker, ...]

    @property
    def is_open(self) -> bool:
        return not self.blockers


@dataclass(frozen=True)
class Lifecycle(Generic[S, A, Snapshot]):
    """A named table of moves."""

    name: str
    start: S
    table: Mapping[tuple[S, A], Rule[S, Snapshot]]

    def offers(self, state: S, snapshot: Snapshot) -> tuple[Offer[A], ...]:
        """Every action of the table that leaves ``state``, in table order, with its blockers."""
        return tuple(
            Offer(action, rule.permission, _blockers(rule, snapshot))
            for (source, action), rule in self.table.items()
            if source == state
        )

    def rule(self, state: S, action: A) -> Rule[S, Snapshot]:
        """The rule for this move. Raises TransitionRefused when there is none."""
        rule = self.table.get((state, action))
        if rule is None:
            allowed = ", ".join(str(a).replace("_", " ") for (s, a) in self.table if s == state) or "nothing"
            raise TransitionRefused(
                f"A {self.name} that is {label(state)} cannot {str(action).replace('_', ' ')}. Possible now: {allowed}.",
                code="no_such_move",
                state=str(state),
                action=str(action),
            )
        return rule

    def transition(self, state: S, action: A, snapshot: Snapshot, *, held_from: S | None = None) -> S:
        """The state after the action. Raises TransitionRefused with every blocker."""
        rule = self.rule(state, action)
        blockers = _blockers(rule, snapshot)
        if blockers:
            raise TransitionRefused(
                " ".join(blocker.sentence for blocker in blockers),
                blockers=blockers,
                code=blockers[0].code,
                state=str(state),
                action=str(action),
            )
        target = rule.to or held_from
        if target is None:
            raise TransitionRefused(
                f"It is not known from where this {self.name} was held.", code="held_from_unknown"
            )
        return target


def _blockers(rule: Rule[S, Snapshot], snapshot: Snapshot) -> tuple[Blocker, ...]:
    found = (guard(snapshot) for guard in rule.guards)
    return tuple(blocker for blocker in found if blocker is not None)


def unchecked(names: tuple[str, ...]) -> str:
    """Which critical entries nobody has checked yet, and what that holds up."""
    listed = ("; " if any(", " in name for name in names) else ", ").join(names)
    return f"Not checked by a second person yet: {listed}. QC takes the batch when it is."


def label(state: StrEnum) -> str:
    """The state in words: "awaiting QC"."""
    return _LABELS.get(str(state), str(state).replace("_", " "))


_LABELS = {"awaiting_qc": "awaiting QC"}


def diagram(lifecycle: Lifecycle) -> str:
    """The table as text for DEVELOPERS.md, one line per move, in table order."""
    lines = [f"{lifecycle.name}: starts as {label(lifecycle.start)}"]
    for (source, action), rule in lifecycle.table.items():
        target = label(rule.to) if rule.to else "where it was held from"
        lines.append(
            f"  {label(source):<12} -- {str(action).replace('_', ' '):<12} --> {target:<22} [{rule.permission}]"
        )
    return "\n".join(lines)
