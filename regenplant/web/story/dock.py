"""The dock of the story: tanks come in, are looked over and accepted."""

from __future__ import annotations

import random
from collections.abc import Generator
from datetime import datetime, timedelta

from regenplant.core.process.intake import (
    FittingCondition,
    InspectionData,
    Odour,
    OxidizerStrip,
    ReturnReason,
    ShellCondition,
    WaterColour,
)
from regenplant.tanks import services as tanks
from regenplant.tanks.models import Tank, TankVisit
from regenplant.web.story.cast import Stage

MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)


class Dock:
    """Receives tanks, each pool going round."""

    def __init__(self, stage: Stage):
        self.stage = stage
        self.random = random.Random(20260311)
        self.next_tank: dict[tuple[str, str], int] = {}

    def take_tanks(self, key: tuple[str, str], count: int) -> list[Tank]:
        """The next tanks of a pool, going round."""
        fleet = self.stage.tanks[key]
        first = self.next_tank.get(key, 0)
        self.next_tank[key] = first + count
        return [fleet[(first + index) % len(fleet)] for index in range(count)]

    def home_of(self, tank: Tank, key: tuple[str, str]) -> int:
        fleet = next(f for f in self.stage.data["fleets"] if (f["resin_type"], f["segregation_class"]) == key)
        homes = fleet["homes"]
        return self.stage.customers[homes[tank.pk % len(homes)]].pk

    def receive(
        self, tank: Tank, key: tuple[str, str], at: datetime, *, bay: str, due_in: timedelta
    ) -> TankVisit:
        customer_id = self.home_of(tank, key)
        due = (at + due_in).replace(hour=7, minute=0, second=0, microsecond=0)
        outcome = tanks.receive_tank(
            by=self.stage.by("sallow", at),
            tank_id=tank.pk,
            customer_id=customer_id,
            return_reason=ReturnReason.EXHAUSTED.value,
            customer_words=self.random.choice(["", "", "light went red", "slow", "ran out on Monday"]),
            bay=bay,
            due_at=due,
        )
        visit: TankVisit = outcome.result
        return visit

    def look_over(self, visit: TankVisit, at: datetime, *, ph: float | None = None) -> None:
        value = ph if ph is not None else round(self.random.uniform(5.8, 7.9), 1)
        inspection = InspectionData(
            shell=ShellCondition.SOUND,
            head_and_fittings=FittingCondition.SOUND,
            odour=Odour.NONE,
            water_colour=WaterColour.CLEAR,
            oxidizer_strip=OxidizerStrip.NONE,
            first_drain_ph=value,
            first_drain_ph_as_typed=str(value),
        )
        tanks.inspect_tank(by=self.stage.by("sallow", at), visit_id=visit.pk, inspection=inspection)

    def bring_in(
        self, key: tuple[str, str], count: int, at: datetime, *, due_in: timedelta = 2 * DAY
    ) -> Generator[datetime, None, list[TankVisit]]:
        """Receive, look over and accept some tanks; returns their visits."""
        found = []
        for index, tank in enumerate(self.take_tanks(key, count)):
            moment = at + index * 2 * MINUTE
            yield moment
            visit = self.receive(tank, key, moment, bay=f"bay {1 + index % 6}", due_in=due_in)
            yield moment + MINUTE
            self.look_over(visit, moment + MINUTE)
            visit.refresh_from_db()
            tanks.accept_tank(
                by=self.stage.by("sallow", moment + MINUTE),
                visit_id=visit.pk,
                segregation_class=key[1],
                version=visit.version,
            )
            found.append(visit)
        return found
