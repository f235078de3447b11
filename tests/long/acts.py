"""Known acts over HTTP. Each carries a mark of its own, by which it is found in the record: once if it was acknowledged."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.long.visitor import Answer, Visitor

Stage = dict[str, Any]
"""What was prepared: numbers and codes of the records that are acted on (``stage.set_up``)."""
Send = Callable[[Visitor, Stage, str], Answer]


@dataclass(frozen=True)
class Act:
    """One kind of act. ``events`` are the names under which the record knows it when it is done."""

    name: str
    events: tuple[str, ...]
    send: Send
    mark: Callable[[Stage, int], str] = lambda stage, turn: f"mark {turn} of the test"


def _code(stage: Stage, turn: int) -> str:
    return f"K{turn}"


def _flow(stage: Stage, turn: int) -> str:
    """A flow inside the limits of the step that no other act writes."""
    low, high = stage["flow_m3_per_h"]
    return f"{low + (high - low) * (0.05 + 0.9 * ((turn * 0.6180339887) % 1.0)):.9f}"


def count_stock(person: Visitor, stage: Stage, mark: str) -> Answer:
    """Count a chemical tank: what it means is shown first, then written. A count and its act."""
    path = f"/chemicals/tanks/{stage['tank']}/count/"
    typed = {"quantity_pure": f"{random.uniform(2000, 2900):.3f} kg", "reason": mark}
    shown = person.fill(path, **typed, act="show")
    return person.send(shown, path, **typed, act="write") if shown.status == 200 else shown


def add_customer(person: Visitor, stage: Stage, mark: str) -> Answer:
    return person.post("/customers/new/", code=mark, name=f"Customer {mark}")


def receive_unknown(person: Visitor, stage: Stage, mark: str) -> Answer:
    """A tank that no record knows: a tank, a visit with a number, a hold, in one act."""
    return person.fill(
        "/intake/unknown/", size=str(stage["size"]), resin_type=str(stage["resin_type"]),
        customer=str(stage["customer"]), what_is_seen=mark,
    )  # fmt: skip


def write_flow(person: Visitor, stage: Stage, mark: str) -> Answer:
    path = f"/batches/{stage['batch']}/steps/{stage['step']}/entries/"
    return person.post(path, key="flow", value=f"{mark} m3/h")


def hold(person: Visitor, stage: Stage, mark: str) -> Answer:
    """Hold a batch: its state, its version, a hold row and the act."""
    return person.fill(f"/batches/{stage['held_batch']}/hold/", reason=mark)


def resume(person: Visitor, stage: Stage, mark: str) -> Answer:
    return person.fill(f"/batches/{stage['held_batch']}/resume/", note=mark)


def rename_vessel(person: Visitor, stage: Stage, mark: str) -> Answer:
    return person.fill(f"/setup/vessels/{stage['vessel']}/change/", name=mark)


def set_level(person: Visitor, stage: Stage, mark: str) -> Answer:
    level = f"{random.uniform(1.0, 30.0):.4f} m3"
    return person.fill(f"/setup/waste/{stage['waste']}/level/", level_m3=level, note=mark)


def start_batch(person: Visitor, stage: Stage, mark: str) -> Answer:
    """Start the one ready batch: whoever is first."""
    path = f"/batches/{stage['ready_batch']}/"
    shown = person.get(path)
    return person.send(shown, f"{path}start/") if f"{path}start/" in shown.text else shown


def judge(person: Visitor, stage: Stage, mark: str) -> Answer:
    """Accept or hold one of the few tanks at the dock."""
    number = random.choice(stage["visits"])
    path = f"/intake/{number}/"
    shown = person.get(path)
    if f"{path}verdict/" not in shown.text:
        return shown
    return person.send(shown, f"{path}verdict/", verdict=random.choice(("accept D", "hold")), reason=mark)


def take_back(person: Visitor, stage: Stage, mark: str) -> Answer:
    """Take a delivery back; it can be taken back once."""
    return person.fill(
        f"/chemicals/movements/{random.choice(stage['deliveries'])}/correct/", category="slip", reason=mark
    )


COUNT = Act("count", ("chemical.stock_counted",), count_stock)
CUSTOMER = Act("customer", ("customer.added",), add_customer, _code)
UNKNOWN_TANK = Act("unknown tank", ("tank.unknown_received",), receive_unknown)
FLOW = Act("flow", ("entry.written",), write_flow, _flow)
HOLD = Act("hold", ("batch.held",), hold)
RESUME = Act("resume", ("batch.resumed",), resume)
VESSEL = Act("vessel", ("vessel.saved",), rename_vessel)
LEVEL = Act("level", ("waste.level_set",), set_level)
START = Act("start", ("batch.started",), start_batch)
JUDGE = Act("judge", ("tank.accepted", "tank.held"), judge)
TAKE_BACK = Act("take back", ("chemical.movement_corrected",), take_back)
