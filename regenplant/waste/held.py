"""What stands in a waste tank by its ledger, as the rules want it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max

from regenplant.core.process.waste_held import WasteHeld
from regenplant.plant.models import WasteTank
from regenplant.waste.models import WasteMovement


def held_after(row: WasteMovement) -> WasteHeld:
    """What stood in the tank after a movement."""
    return WasteHeld(row.level_m3, row.unknown_m3, row.held_temperature_kelvin, dict(row.held_mol))


def held_in(tank: WasteTank, last: WasteMovement | None) -> WasteHeld:
    """What stands in a tank; before its first movement all of it is unknown."""
    if last is None:
        return WasteHeld(tank.level_m3, tank.level_m3, None, {})
    return held_after(last)


_LEFT_WITH = (
    WasteMovement.Kind.READING.value,
    WasteMovement.Kind.DISCHARGE.value,
    WasteMovement.Kind.TAKEN_AWAY.value,
)
"""What takes of everything in a mixed tank the same share; a reading below the books too."""


@dataclass(frozen=True, slots=True)
class StillThere:
    """What became of something that came into a tank."""

    frac: float
    """Share of it that still stands there, mixed with the rest."""
    level_was_read: bool
    """Since then: the volume in the tank is a measured one."""


def still_there(tank: WasteTank, since_number: int) -> StillThere:
    """Of what came in with movement ``since_number``, or stood there then. One query."""
    frac, was_read = 1.0, False
    rows = WasteMovement.objects.filter(tank=tank, number__gt=since_number, kind__in=_LEFT_WITH)
    for row in rows.order_by("number"):
        was_read = was_read or row.kind == WasteMovement.Kind.READING
        before = row.level_m3 - row.volume_m3
        if row.volume_m3 < 0.0 and before > 0.0:
            frac *= row.level_m3 / before
    return StillThere(frac, was_read)


@dataclass(frozen=True, slots=True)
class TankStanding:
    """What stands in a waste tank now."""

    tank: WasteTank
    held: WasteHeld
    last: WasteMovement | None
    drained_m3: float = 0.0
    """What batches have drained into it since it was read or emptied last [m^3]."""

    @property
    def volume_m3(self) -> float:
        return self.held.volume_m3

    @property
    def unknown_m3(self) -> float:
        return self.held.unknown_m3

    @property
    def temperature_kelvin(self) -> float | None:
        return self.held.temperature_kelvin

    @property
    def chloride_kg(self) -> float:
        return self.held.mass_kg("chloride")

    @property
    def sodium_kg(self) -> float:
        return self.held.mass_kg("sodium")

    @property
    def sulfate_kg(self) -> float:
        return self.held.mass_kg("sulfate")

    @property
    def tds_kg(self) -> float:
        return self.held.dissolved_kg

    @property
    def changed_at(self) -> datetime | None:
        """When something last came in or left."""
        return self.last.moved_at if self.last is not None else None

    @property
    def over_m3(self) -> float:
        """By how much the books say more than the tank holds [m^3]; then somebody reads the level."""
        return max(self.held.volume_m3 - self.tank.capacity_m3, 0.0)


def standing(tank: WasteTank) -> TankStanding:
    """What stands in this tank now. One query."""
    last = WasteMovement.objects.filter(tank=tank).order_by("-number").first()
    return TankStanding(tank, held_in(tank, last), last)


def standings() -> list[TankStanding]:
    """What stands in each waste tank now, by code. Three queries, however many there are."""
    tanks = list(WasteTank.objects.order_by("code"))
    newest = WasteMovement.objects.values("tank").annotate(number=Max("number")).values("number")
    rows = {row.tank_id: row for row in WasteMovement.objects.filter(number__in=newest)}
    return [TankStanding(tank, held_in(tank, rows.get(tank.pk)), rows.get(tank.pk)) for tank in tanks]
