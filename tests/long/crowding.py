"""Many people at once at the same few things, over HTTP: nothing lost, nothing done twice, no crash, every refusal clear."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from tests.long import acts
from tests.long.acts import Act
from tests.long.server import Plant
from tests.long.visitor import Answer, Cut, Visitor

WISHES: tuple[tuple[Act, int], ...] = (
    (acts.FLOW, 4), (acts.COUNT, 3), (acts.VESSEL, 3), (acts.LEVEL, 3), (acts.HOLD, 2), (acts.RESUME, 2), (acts.JUDGE, 2),
    (acts.UNKNOWN_TANK, 2), (acts.TAKE_BACK, 1), (acts.START, 1), (acts.CUSTOMER, 1),
)  # fmt: skip
"""What people try, and how often."""
PAGES = ("/floor/", "/review/", "/waiting/", "/chemicals/")
"""What they look at in between."""
REFUSED = (400, 403, 409, 422)


@dataclass
class Result:
    """What a crowd has seen."""

    done: Counter[str] = field(default_factory=Counter)
    refused: Counter[int] = field(default_factory=Counter)
    not_offered: int = 0
    pages: int = 0
    waits: list[float] = field(default_factory=list)
    page_waits: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    sentences: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, act: Act, answer: Answer, mark: str) -> None:
        """Judge one answer: done, refused with a sentence, or wrong."""
        with self.lock:
            self.waits.append(answer.seconds)
            if answer.is_done:
                self.done[act.name] += 1
            elif answer.status in REFUSED:
                self.refused[answer.status] += 1
                sentences = answer.refusals
                if not any("." in sentence and len(sentence) > 20 for sentence in sentences):
                    self.wrong.append(
                        f"{act.name} was refused with {answer.status} and no sentence: {sentences}"
                    )
                self.sentences.update(f"{act.name}: {sentence}" for sentence in sentences[:1])
            elif answer.status == 200:
                self.not_offered += 1
            else:
                self.wrong.append(f"{act.name} “{mark}” was answered with {answer.status} {answer.location}")


def run(
    plant: Plant, stage: dict[str, Any], *, users: int, seconds: float, servers: int, threads: int, seed: int
) -> Result:
    """Let ``users`` people act for ``seconds`` at ``servers`` processes of ``threads`` threads each, then hold all to account."""
    before = plant.call("tests.long.checks:counted")
    plant.forget_log()
    ports = [plant.serve(threads=threads) for _ in range(servers)]
    people = [Visitor(name, ports[index % servers]) for index, name in enumerate(stage["crowd"][:users])]
    result, gate, end = Result(), threading.Barrier(users + 1), [0.0]

    def live(person: Visitor, number: int) -> None:
        try:
            go_on(person, number)
        except (Cut, AssertionError) as error:
            result.wrong.append(f"{person.username}: {type(error).__name__} {error}")

    def go_on(person: Visitor, number: int) -> None:
        dice, turn = random.Random(seed * 1000 + number), number
        try:
            person.sign_in(stage["password"])
        finally:
            gate.wait(timeout=120)
        act, mark = acts.START, "all at once"
        while True:
            result.take(act, act.send(person, stage, mark), mark)
            if time.monotonic() > end[0]:
                return
            if dice.random() < 0.25:
                _look_around(person, dice, result)
            turn += users
            act = dice.choices([one for one, _ in WISHES], [often for _, often in WISHES])[0]
            # the code of a customer is wanted by several people at once; every other mark is one's own
            mark = act.mark(stage, seed * 1_000_000 + (turn // users if act is acts.CUSTOMER else turn))

    crowd = [threading.Thread(target=live, args=(person, number)) for number, person in enumerate(people)]
    for thread in crowd:
        thread.start()
    end[0] = time.monotonic() + 600
    gate.wait(timeout=120)
    begun = time.monotonic()
    end[0] = begun + seconds
    for thread in crowd:
        thread.join(timeout=seconds + 180)
    result.seconds = time.monotonic() - begun
    plant.kill()
    result.wrong += [f"the log says: {line}" for line in plant.crashes_in_log()]
    result.wrong += [f"{thread.name} never came back" for thread in crowd if thread.is_alive()]
    _hold_to_account(plant, stage, before, result)
    return result


def _look_around(person: Visitor, dice: random.Random, result: Result) -> None:
    page = person.get(dice.choice(PAGES))
    with result.lock:
        result.pages += 1
        result.page_waits.append(page.seconds)
        if page.status != 200:
            result.wrong.append(f"a page was answered with {page.status}")


def _hold_to_account(plant: Plant, stage: dict[str, Any], before: dict[str, int], result: Result) -> None:
    """As many acts in the record as were acknowledged, each edit on top of the one before it, all records whole."""
    after = plant.call("tests.long.checks:counted")
    for act, _ in WISHES:
        stands = sum(after.get(event, 0) - before.get(event, 0) for event in act.events)
        if stands != result.done[act.name]:
            result.wrong.append(f"{act.name}: {result.done[act.name]} acknowledged, {stands} in the record")
    if result.done["start"] != 1:
        result.wrong.append(f"the one batch was started {result.done['start']} times")
    edits = plant.call(
        "tests.long.checks:edits", event="vessel.saved", key_label=stage["vessel"], field="name"
    )
    broken = [(was[1], now[0]) for was, now in pairwise(edits) if was[1] != now[0]]
    if broken:
        result.wrong.append(f"vessel.saved: an update was lost between {broken[:3]}")
    lost = plant.call("tests.long.checks:waste_breaks", code=stage["waste"])
    if lost:  # drains of batches stand between the readings, so the ledger is followed and not the acts
        result.wrong.append(f"waste ledger: {lost[:3]}")
    state, verified = plant.call("tests.long.checks:state"), plant.call("tests.long.checks:verify")
    result.wrong += state["wrong"]
    if verified["wrong"]:
        result.wrong.append(verified["wrong"])
