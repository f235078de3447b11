"""The ways in which readings come in, for tests that hold one rule against all of them: written on the page, pasted as a log, sent
over HTTP, and published over MQTT (from the spool on; the broker has tests of its own)."""

from __future__ import annotations

import json
import re
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.web.api.listening import handing_on
from regenplant.web.api.listening.spool import opened
from tests.api.meters import Meter, message, meter_at, reading
from tests.factories import SmallPlant
from tests.web.pages import text_of

WAYS = ("page", "log", "http", "mqtt")
Shown = tuple[float, str]
"""Seconds since the reading before, and what the cell shows [µS/cm]."""


@dataclass
class Scene:
    """A rinse that runs, the clock of the plant, a person at the page, and a meter for each cell that sends."""

    plant: SmallPlant
    batch: Batch
    client: Client
    folder: Path
    meters: dict[str, Meter] = field(default_factory=dict)

    def send(self, way: str, readings: Sequence[Shown], *, cell: str = "CELL", celsius: float = 25.0) -> Any:
        """Let the readings happen and come in; what the last call was answered."""
        if way == "page":
            return self._written(readings, cell, celsius)
        moments = self.happened(readings)
        return self.send_of(way, moments, cell=cell, celsius=celsius)

    def send_of(
        self, way: str, moments: Sequence[tuple[datetime, str]], *, cell: str = "CELL", celsius: float = 25.0
    ) -> Any:
        """Hand in what happened at these moments, as a log or as a meter's message."""
        if way == "log":
            return self.pasted(moments, cell, celsius)
        body = message([reading(at, value, temperature_c=celsius) for at, value in moments])
        return self.meter(cell).send(body) if way == "http" else self.published(body, cell)

    def happened(self, readings: Sequence[Shown]) -> list[tuple[datetime, str]]:
        """Let them happen; moment and value of each."""
        return [(self.plant.forward(seconds=after_s), value) for after_s, value in readings]

    def _written(self, readings: Sequence[Shown], cell: str, celsius: float) -> Any:
        answer = None
        for after_s, value in readings:
            self.plant.forward(seconds=after_s)
            answer = self.write(f"{value} µS/cm", cell=cell, celsius=celsius)
        return answer

    def write(self, value: str, *, cell: str = "CELL", celsius: float = 25.0) -> Any:
        """One reading on the page, typed twice where the page asks for it."""
        data = {
            "value": value, "temperature": f"{celsius} °C", "instrument": str(self.plant.instruments[cell].pk),
            "rinsed": "", "occurred_at": "",
        }  # fmt: skip
        url = reverse("rinse", args=[self.batch.number])
        answer = self.client.post(url, data)
        first = answer.context["form"]["first"].value() if answer.context and "form" in answer.context else ""
        return self.client.post(url, data | {"first": first}) if first else answer

    def pasted(
        self,
        moments: Sequence[tuple[datetime, str]],
        cell: str = "CELL",
        celsius: float = 25.0,
        unit: str = "µS/cm",
    ) -> Any:
        """A log looked at and then taken in; the first answer where there is nothing to take in."""
        rows = [f"{at.isoformat()};{value};{celsius:.2f}" for at, value in moments]
        text = "\n".join((f"time;conductivity ({unit});temperature (°C)", *rows))
        url = reverse("rinse-log", args=[self.batch.number])
        seen = self.client.post(url, {"instrument": str(self.plant.instruments[cell].pk), "pasted": text})
        kept = re.search(r'<textarea name="kept"[^>]*>([^<]+)</textarea>', seen.content.decode())
        return self.client.post(url, {"act": "take", "kept": kept[1]}) if kept else seen

    def published(self, body: Any, cell: str = "CELL") -> tuple[handing_on.Counts, str]:
        """What handing a message on brought, and why the last one was refused."""
        topic = self.meter(cell).feed.topic
        with opened(self.folder) as spool:
            spool.put(topic, json.dumps(body).encode(), timezone.now())
            spool.keep()
            counts = handing_on.hand_on(spool)
            refused = spool.refused()
            return counts, refused[0].why if refused else ""

    def meter(self, cell: str = "CELL") -> Meter:
        """The meter of this cell at the vessel, with its topic."""
        if cell not in self.meters:
            where = self.batch.vessel.code
            self.meters[cell] = meter_at(
                self.plant, where, cell=cell, code=f"M-{cell}", topic=f"rinse/{cell}"
            )
        return self.meters[cell]

    # --- what is said of it -------------------------------------------------------------------------------------------
    def standing(self) -> dict[str, Any]:
        """How the rinse stands for a program."""
        answer = Client().get(
            f"/api/rinses/{self.batch.number}/", headers={"authorization": f"Bearer {self.meter().token}"}
        )
        assert answer.status_code == 200, answer.content
        found: dict[str, Any] = answer.json()
        return found

    def page(self) -> str:
        """How it stands for a person."""
        return text_of(self.client.get(reverse("rinse", args=[self.batch.number])))

    def finish(self) -> Any:
        """The operator ends the rinse, without a reason of its own."""
        step = self.batch.steps.get(state="running")
        version = Batch.objects.values_list("version", flat=True).get(pk=self.batch.pk)
        url = reverse("batches-step-finish", args=[self.batch.number, step.number])
        return self.client.post(url, {"version": str(version), "occurred_at": ""})


@contextmanager
def each(scene: Scene, ways: Sequence[str] = WAYS) -> Iterator[Generator[str, None, None]]:
    """The ways, each from the same beginning: what one wrote is undone before the next."""
    began = scene.plant.now

    def one_by_one() -> Generator[str, None, None]:
        for way in ways:
            with transaction.atomic():
                yield way
                transaction.set_rollback(True)
            scene.plant.now = began
            scene.meters.clear()

    one_after_the_other = one_by_one()
    try:
        yield one_after_the_other
    finally:
        one_after_the_other.close()  # a test that fails in the middle leaves nothing behind


def at_plant_time(plant: SmallPlant, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock of the server is the plant's, so that hours of a rinse pass in a test."""
    monkeypatch.setattr(timezone, "now", lambda: plant.now)
