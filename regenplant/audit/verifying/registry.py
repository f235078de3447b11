"""The list of checks, and a run of them.

An app registers its checks in ``AppConfig.ready``; each yields what does not hold as sentences that name the record::

    registry.register(Check("plan", "Frozen plans", "batch plans", check_plans), place=40)
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field

from django.core.exceptions import ObjectDoesNotExist
from django.db import OperationalError

from regenplant.audit import chain
from regenplant.audit.verifying.replay import Replay
from regenplant.audit.verifying.snapshot import snapshot
from regenplant.core.errors import DomainError


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold, as a sentence; a notice is worth knowing and breaks nothing."""

    kind: str
    sentence: str
    is_notice: bool = False


UNREADABLE = (
    ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError, ObjectDoesNotExist, DomainError,
    OperationalError,
)  # fmt: skip
"""What reading a falsified record can end in: rows that point at nothing, words where numbers stand, text that is none."""


class Tick:
    """Yielded by a long check now and then, so that whoever waits can be told how far it is."""


TICK = Tick()
EVERY = 20_000


@dataclass(slots=True)
class Look:
    """One check while it runs: what it may know, and where it says what it has seen."""

    replay: Replay = field(default_factory=Replay)
    """What the acts say about rows, once they have been read."""
    seen: int = 0
    total: int = 0
    """How much there is; 0 where that is not known."""

    def saw(self, number: int = 1) -> bool:
        """Count what was looked at; true when it is time for a tick."""
        before = self.seen
        self.seen += number
        return self.seen // EVERY != before // EVERY


Said = Finding | Tick


@dataclass(frozen=True, slots=True)
class Check:
    """One kind of thing that is looked at."""

    kind: str
    title: str
    counted: str
    """What its count counts, in the plural: "acts", "signatures"."""
    run: Callable[[Look], Iterator[Said]]
    option: str = ""
    """Left out unless this option is asked for."""


@dataclass(frozen=True, slots=True)
class Looked:
    """A check that was run."""

    kind: str
    title: str
    counted: str
    seen: int
    seconds: float
    broken: int


@dataclass(frozen=True, slots=True)
class Report:
    """A run of all checks."""

    checks: tuple[Looked, ...]
    findings: tuple[Finding, ...]
    notices: tuple[Finding, ...]
    seconds: float
    number: int
    head: str
    """Number and digest of the newest act when the run began."""

    @property
    def holds(self) -> bool:
        return not self.findings

    def seen(self, kind: str) -> int:
        return next((check.seen for check in self.checks if check.kind == kind), 0)


_CHECKS: list[tuple[int, Check]] = []


def register(check: Check, *, place: int) -> None:
    """Add a check; ``place`` says where in the order it runs."""
    _CHECKS[:] = [(at, known) for at, known in _CHECKS if known.kind != check.kind]
    _CHECKS.append((place, check))
    _CHECKS.sort(key=lambda item: item[0])


def checks(options: Collection[str] = ()) -> tuple[Check, ...]:
    return tuple(check for _, check in _CHECKS if not check.option or check.option in options)


@dataclass(frozen=True, slots=True)
class Step:
    """How far a run is: a check under way, a check done (``looked``), or the end (``report``)."""

    title: str = ""
    seen: int = 0
    total: int = 0
    looked: Looked | None = None
    report: Report | None = None


def steps(options: Collection[str] = ()) -> Iterator[Step]:
    """Run every check on one state of the database, telling how far it is; the last step bears the report. Reads only."""
    with snapshot():
        number, head = chain.head()
        begun = time.monotonic()
        looked: list[Looked] = []
        found: list[Finding] = []
        replay = Replay()
        for check in checks(options):
            look, since, own = Look(replay), time.monotonic(), []
            yield Step(check.title)
            for said in _carried_out(check, look):
                if isinstance(said, Finding):
                    own.append(said)
                else:
                    yield Step(check.title, look.seen, look.total)
            broken = sum(1 for finding in own if not finding.is_notice)
            seconds = time.monotonic() - since
            done = Looked(check.kind, check.title, check.counted, look.seen, seconds, broken)
            looked.append(done)
            found += own
            yield Step(check.title, look.seen, look.seen, looked=done)
        report = Report(
            tuple(looked),
            tuple(finding for finding in found if not finding.is_notice),
            tuple(finding for finding in found if finding.is_notice),
            time.monotonic() - begun,
            number,
            head,
        )
    yield Step(report=report)


def _carried_out(check: Check, look: Look) -> Iterator[Said]:
    """What a check says. One that stumbles over a falsified record says so, and the others still run."""
    try:
        yield from check.run(look)
    except UNREADABLE as error:
        yield Finding(
            check.kind,
            f"{check.title} could not be looked at to the end: after {look.seen} {check.counted} the record holds what no act can have "
            f"written ({type(error).__name__}: {str(error)[:120]}).",
        )


def run(options: Collection[str] = ()) -> Report:
    """Run every check. Reads only."""
    for step in steps(options):
        if step.report is not None:
            return step.report
    raise RuntimeError("A run ends with its report.")


def findings() -> list[Finding]:
    """What does not hold, kind by kind; empty when all does."""
    return list(run().findings)
