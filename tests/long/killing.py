"""Kill -9 in the middle of writes: people act over HTTP, the server is killed at a random moment, started again, and looked at.

Lost would be an act that was acknowledged (the page after it came back) and does not stand in the record. Half done would be
a row without its act, an act without its row, or states that do not fit together. What was cut off may be done or not.
A killed process is not a power cut: what the operating system had taken for the disk is kept. That the database asks the disk
(``synchronous=FULL``, ``fsync``) is tested in tests/test_settings.py and tests/test_database.py.
"""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from tests.long import acts
from tests.long.acts import Act
from tests.long.server import Plant
from tests.long.visitor import Cut, Visitor

CREW: tuple[tuple[str, tuple[Act, ...]], ...] = (
    ("supervisor", (acts.COUNT,)),
    ("planner", (acts.CUSTOMER,)),
    ("operator", (acts.UNKNOWN_TANK,)),
    ("operator 2", (acts.FLOW,)),
    ("supervisor 2", (acts.HOLD, acts.RESUME)),
)
"""Who does which acts, in turn, all at once."""


@dataclass
class Tally:
    """What people were told."""

    acknowledged: dict[str, list[str]] = field(default_factory=dict)
    unknown: dict[str, list[str]] = field(default_factory=dict)
    refused: Counter[str] = field(default_factory=Counter)
    odd: list[str] = field(default_factory=list)
    """What no page should do, whatever is killed."""

    def marks(self) -> dict[str, list[str]]:
        names = self.acknowledged.keys() | self.unknown.keys()
        return {name: self.acknowledged.get(name, []) + self.unknown.get(name, []) for name in names}


class Crew:
    """People who go on acting until the line is cut."""

    def __init__(self, stage: dict[str, Any], port: int) -> None:
        self.stage, self.turn, self.lock = stage, 0, threading.Lock()
        self.people = {name: Visitor(stage["people"][name], port) for name, _ in CREW}
        for person in self.people.values():
            person.sign_in(stage["password"])

    def work(self, port: int, tally: Tally) -> list[threading.Thread]:
        threads = []
        for name, kinds in CREW:
            self.people[name].port = port
            threads.append(threading.Thread(target=self._go_on, args=(self.people[name], kinds, tally)))
        for thread in threads:
            thread.start()
        return threads

    def _go_on(self, person: Visitor, kinds: tuple[Act, ...], tally: Tally) -> None:
        done = 0
        while True:
            act = kinds[done % len(kinds)]
            with self.lock:
                self.turn += 1
                mark = act.mark(self.stage, self.turn)
            done += 1
            try:
                answer = act.send(person, self.stage, mark)
            except Cut:
                tally.unknown.setdefault(act.name, []).append(mark)
                return
            except AssertionError as error:
                tally.odd.append(f"{act.name}: {error}")
                return
            if answer.is_done:
                tally.acknowledged.setdefault(act.name, []).append(mark)
            elif answer.status >= 500:
                tally.unknown.setdefault(act.name, []).append(mark)
                time.sleep(0.05)  # the database is away; nobody knows whether the act was done
            else:
                tally.refused[act.name] += 1


@dataclass
class Result:
    """What a run of kills has seen."""

    kills: Counter[str] = field(default_factory=Counter)
    acknowledged: int = 0
    cut_off: int = 0
    cut_off_and_done: int = 0
    refused: int = 0
    wrong: list[str] = field(default_factory=list)
    back_after_s: list[float] = field(default_factory=list)
    events: int = 0
    verify_s: float = 0.0


def run(plant: Plant, stage: dict[str, Any], kills: int, *, seed: int, verify_every: int = 25) -> Result:
    """Kill the server ``kills`` times while the crew acts, look at the record after each, verify it now and then."""
    dice, result, crew = random.Random(seed), Result(), None
    everything: dict[str, list[str]] = {}
    for number in range(1, kills + 1):
        port = plant.serve()
        if crew is None:
            crew = Crew(stage, port)
        tally = Tally()
        begun = time.monotonic()
        threads = crew.work(port, tally)
        while not tally.acknowledged and time.monotonic() - begun < 60:
            time.sleep(0.005)
        result.back_after_s.append(time.monotonic() - begun)
        time.sleep(dice.uniform(0.0, 1.2))
        result.kills[_strike(plant, number, dice)] += 1
        for thread in threads:
            thread.join(timeout=90)
        _look(plant, tally, result, everything)
        if number % verify_every == 0 or number == kills:
            _verify(plant, everything, result)
        if result.wrong:
            result.wrong.append(f"first seen after kill {number} of {kills}")
            break
    return result


def _strike(plant: Plant, number: int, dice: random.Random) -> str:
    """Kill. On PostgreSQL every fifth time a process of the database first, every twentieth time all of it."""
    if plant.databank.kind == "postgresql" and number % 20 == 0:
        plant.databank.crash()
        time.sleep(dice.uniform(0.0, 0.3))
        plant.kill()
        return "PostgreSQL and server"
    if plant.databank.kind == "postgresql" and number % 5 == 0 and plant.databank.kill_a_backend():
        time.sleep(dice.uniform(0.0, 0.3))
        plant.kill()
        return "database backend and server"
    plant.kill()
    return "server"


def _look(plant: Plant, tally: Tally, result: Result, everything: dict[str, list[str]]) -> None:
    """Hold what people were told against the record."""
    found = plant.call("tests.long.checks:found", marks=tally.marks())
    for name, marks in tally.acknowledged.items():
        everything.setdefault(name, []).extend(marks)
        result.acknowledged += len(marks)
        result.wrong += [
            f"{name} “{mark}” was acknowledged and stands in {found[name][mark]} rows and acts"
            for mark in marks
            if found[name][mark] != [1, 1]
        ]
    for name, marks in tally.unknown.items():
        result.cut_off += len(marks)
        for mark in marks:
            if found[name][mark] == [1, 1]:
                result.cut_off_and_done += 1
                everything.setdefault(name, []).append(mark)
            elif found[name][mark] != [0, 0]:
                result.wrong.append(f"{name} “{mark}” was cut off and is half done: {found[name][mark]}")
    result.refused += sum(tally.refused.values())
    result.wrong += tally.odd
    state = plant.call("tests.long.checks:state")
    result.wrong += state["wrong"]
    result.events = state["events"]


def _verify(plant: Plant, everything: dict[str, list[str]], result: Result) -> None:
    verified = plant.call("tests.long.checks:verify")
    if verified["wrong"]:
        result.wrong.append(verified["wrong"])
    result.verify_s = verified["seconds"]
    found = plant.call("tests.long.checks:found", marks=everything)
    lost = [
        (name, mark) for name, marks in everything.items() for mark in marks if found[name][mark] != [1, 1]
    ]
    if lost:
        result.wrong.append(f"acts of earlier rounds are gone: {lost[:5]}")
