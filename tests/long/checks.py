"""What must hold in the plant's database after a kill or a crowd. Called in a child of the launcher; answers plain data."""

from __future__ import annotations

import io
import json
import re
import threading
import time
from collections import Counter
from collections.abc import Iterator
from typing import Any

from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from regenplant.audit import chain
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.batches.models import Batch, Hold, StepEntry
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Movement, StockCount
from regenplant.people.models import Person
from regenplant.tanks.models import Customer, Tank, TankVisit
from regenplant.waste.models import WasteMovement

NUMBER = re.compile(r"[\d.]*")


# --- marks ------------------------------------------------------------------------------------------------------------
def found(marks: dict[str, list[str]]) -> dict[str, dict[str, list[int]]]:
    """For each kind of act (``acts.Act.name``) and each mark: in how many rows it stands, and in how many acts."""
    acts = _acts_by_mark()
    rows = {
        "count": Counter(
            StockCount.objects.filter(note__in=marks.get("count", [])).values_list("note", flat=True)
        ),
        "customer": Counter(
            Customer.objects.filter(code__in=marks.get("customer", [])).values_list("code", flat=True)
        ),
        "unknown tank": Counter(
            TankVisit.objects.filter(customer_words__in=marks.get("unknown tank", [])).values_list(
                "customer_words", flat=True
            )
        ),
        "flow": Counter(
            StepEntry.objects.filter(value_as_typed__in=marks.get("flow", [])).values_list(
                "value_as_typed", flat=True
            )
        ),
        "hold": Counter(
            Hold.objects.filter(reason__in=marks.get("hold", [])).values_list("reason", flat=True)
        ),
        "resume": acts["resume"],
    }
    return {
        kind: {mark: [rows[kind][mark], acts[kind][mark]] for mark in wanted}
        for kind, wanted in marks.items()
    }


def _acts_by_mark() -> dict[str, Counter[str]]:
    """The marks of all recorded acts, by kind of act."""
    visits = dict(TankVisit.objects.values_list("number", "customer_words"))
    seen: dict[str, Counter[str]] = {
        kind: Counter() for kind in ("count", "customer", "unknown tank", "flow", "hold", "resume")
    }
    kind_of = {"chemical.stock_counted": "count", "batch.held": "hold", "batch.resumed": "resume"}
    for event, payload in AuditEvent.objects.values_list("event", "payload").iterator(2000):
        stored = json.loads(payload)["facts"]
        if event in kind_of:
            seen[kind_of[event]][stored["reason"]] += 1
        elif event == "customer.added":
            seen["customer"][stored["after"]["code"]] += 1
        elif event == "tank.unknown_received":
            seen["unknown tank"][visits.get(stored["facts"]["visit"], "")] += 1
        elif event == "entry.written":
            seen["flow"][NUMBER.match(stored["after"]["value"])[0]] += 1  # type: ignore[index]
    return seen


# --- the record as a whole --------------------------------------------------------------------------------------------
def state() -> dict[str, Any]:
    """Everything that is half done or does not fit, as sentences; and how much stands in the record."""
    return {"wrong": [*_half_done(), *_gaps()], "events": chain.head()[0]}


def verify() -> dict[str, Any]:
    """What ``manage.py verify_records`` says, and how long it took."""
    said, begun = io.StringIO(), time.monotonic()
    wrong = ""
    try:
        call_command("verify_records", stdout=said)
    except CommandError as refusal:
        wrong = f"{refusal}\n{said.getvalue()}"
    return {"wrong": wrong, "events": chain.head()[0], "seconds": time.monotonic() - begun}


def _half_done() -> Iterator[str]:
    for batch in Batch.objects.all():
        open_holds = Hold.objects.filter(batch=batch, resumed_at=None).count()
        if open_holds != (1 if batch.state == "held" else 0):
            yield f"{batch.number} is {batch.state} with {open_holds} open holds"
    events = Counter(AuditEvent.objects.values_list("event", flat=True))
    for what, rows, acts in (
        ("holds", Hold.objects.count(), events["batch.held"] + events["batch.interrupted"]),
        ("holds resumed", Hold.objects.exclude(resumed_at=None).count(), events["batch.resumed"]),
        ("customers", Customer.objects.count(), events["customer.added"]),
        ("visits", TankVisit.objects.count(), events["tank.received"] + events["tank.unknown_received"]),
        ("tanks", Tank.objects.count(), events["tank.added"] + events["tank.unknown_received"]),
        ("entries", StepEntry.objects.count(), events["entry.written"] + events["entry.corrected"]),
    ):
        if rows != acts:
            yield f"{rows} {what} stand in the record, and {acts} acts that made them"
    named = set(
        re.findall(r"movement:(\d+)", " ".join(AuditEvent.objects.values_list("related", flat=True)))
        + list(AuditEvent.objects.filter(subject_kind="movement").values_list("subject_key", flat=True))
    )
    lost = [
        number for number in Movement.objects.values_list("number", flat=True) if str(number) not in named
    ]
    if lost:
        yield f"movements {lost[:5]} were made by no act"


def _gaps() -> Iterator[str]:
    for what, numbers in (
        ("events", list(AuditEvent.objects.order_by("number").values_list("number", flat=True))),
        ("movements", list(Movement.objects.order_by("number").values_list("number", flat=True))),
        ("visits", _digits(TankVisit.objects.values_list("number", flat=True))),
        ("tanks", _digits(Tank.objects.values_list("serial", flat=True))),
        ("batches", _digits(Batch.objects.values_list("number", flat=True))),
    ):
        if numbers and numbers != list(range(numbers[0], numbers[0] + len(numbers))):
            yield f"the numbers of {what} have gaps or stand twice"


def _digits(numbers: Any) -> list[int]:
    return sorted(int(number.rsplit("-", 1)[1]) for number in numbers)


# --- lost updates -----------------------------------------------------------------------------------------------------
def edits(event: str, key_label: str, field: str) -> list[list[Any]]:
    """Before and after of one field in every act of this kind on this subject, in order."""
    found = AuditEvent.objects.filter(event=event, subject_label=key_label).order_by("number")
    stored = [json.loads(payload)["facts"] for payload in found.values_list("payload", flat=True)]
    return [[one["before"].get(field), one["after"].get(field)] for one in stored if field in one["after"]]


def waste_breaks(code: str) -> list[str]:
    """Movements of a waste tank that do not begin where the one before them ended: a level that was read, and what drained between."""
    found, before = [], None
    for row in WasteMovement.objects.filter(tank__code=code).order_by("number"):
        began = row.level_m3 - row.volume_m3
        if before is not None and abs(began - before.level_m3) > 1e-9:
            found.append(f"{before.number} left {before.level_m3}, {row.number} began at {began}")
        before = row
    return found


def counted() -> dict[str, int]:
    """How often each kind of act stands in the record."""
    return dict(Counter(AuditEvent.objects.values_list("event", flat=True)))


# --- writers at the chain ---------------------------------------------------------------------------------------------
def write(person: int, place: int, threads: int, acts: int, offset: int) -> dict[str, Any]:
    """Threads that each count a stock again and again: every act writes a count, an event and its seals."""
    waits: list[float] = []
    barrier = threading.Barrier(threads)

    def work(number: int) -> None:
        who = Person.objects.get(pk=person)
        barrier.wait(timeout=60)
        for turn in range(acts):
            begun = time.monotonic()
            grams = 2_000_000 + (offset + number) * 10_000 + turn + 1
            chemical_services.count_stock(
                by=By(who, timezone.now(), "writer"), place_id=place, counted_grams_100=grams,
                reason=f"writer {offset + number}, turn {turn}",
            )  # fmt: skip
            waits.append(time.monotonic() - begun)
        connection.close()

    crew = [threading.Thread(target=work, args=(number,)) for number in range(threads)]
    begun = time.monotonic()
    for one in crew:
        one.start()
    for one in crew:
        one.join()
    return {"acts": len(waits), "seconds": time.monotonic() - begun, "waits": waits}


def forks() -> dict[str, Any]:
    """Events that follow the same event, events out of order, breaks of the chain."""
    followed = Counter(AuditEvent.objects.values_list("previous_digest", flat=True))
    return {
        "forks": sum(1 for count in followed.values() if count > 1),
        "breaks": [found.sentence for found in chain.verify()][:10],
        "events": chain.head()[0],
    }
