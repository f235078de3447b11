"""An in-line meter for tests: registered at a vessel, with its token, and the text it sends."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.test import Client

from regenplant.plant.models import MeterFeed
from regenplant.plant.services import MeterFeedSettings, register_meter_feed
from tests.factories import SmallPlant

URL = "/api/readings/"


@dataclass
class Meter:
    """A meter that can send over HTTP."""

    feed: MeterFeed
    token: str

    def send(self, body: Any, **headers: str) -> Any:
        """What a call is answered; ``body`` is plain data, or text as it is."""
        text = body if isinstance(body, (str, bytes)) else json.dumps(body)
        return Client(raise_request_exception=False).post(
            URL,
            text,
            content_type="application/json",
            headers={"authorization": f"Bearer {self.token}", **headers},
        )


def meter_at(
    plant: SmallPlant, vessel: str, *, cell: str = "CELL", code: str = "M1", topic: str = ""
) -> Meter:
    """A meter registered by the supervisor."""
    settings = MeterFeedSettings(
        code, f"Outlet of {vessel}", plant.instruments[cell].pk, plant.vessels[vessel].pk, topic
    )
    made = register_meter_feed(by=plant.by("supervisor"), feed=settings).result
    return Meter(MeterFeed.objects.get(pk=made.feed.pk), made.token)


def reading(at: datetime, value: Any = "60.0", unit: str = "uS/cm", **more: Any) -> dict[str, Any]:
    return {"at": at.isoformat(), "value": value, "unit": unit, "temperature_c": 25.0, **more}


def falling(start: datetime, count: int, *, every_s: float = 1.0) -> list[dict[str, Any]]:
    """A rinse-down as a meter sends it, from a second after ``start``: from 400 µS/cm down, never twice the same digits."""
    return [
        reading(
            start + timedelta(seconds=1 + every_s * index), f"{5 + 395 * 0.999**index + 1e-4 * index:.5f}"
        )
        for index in range(count)
    ]


def message(readings: Iterable[dict[str, Any]], **more: Any) -> dict[str, Any]:
    return {"readings": list(readings), **more}
