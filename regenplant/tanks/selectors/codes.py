"""What a code on a tank or a paper means within this app."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

from regenplant.tanks.models import Tank, TankVisit


@dataclass(frozen=True, slots=True)
class FoundCode:
    """What a scanned code is: a tank by its serial or a visit by its number; ``key`` is as stored."""

    kind: Literal["tank", "visit"]
    key: str
    label: str


def normal_code(text: str) -> str:
    """A code as it is stored, whatever the scanner or a gloved hand made of it: no spaces, no NUL, capitals."""
    return "".join(text.replace("\x00", "").split()).upper()


def find_code(text: str) -> FoundCode | None:
    """The tank or visit with this code; None if there is none."""
    code = normal_code(text)
    if not code:
        return None
    tank = Tank.objects.filter(serial__iexact=code).select_related("resin_type").first()
    if tank is not None:
        return FoundCode(
            "tank", tank.serial, f"tank {tank.serial}, {tank.resin_type.code}, class {tank.segregation_class}"
        )
    visit = TankVisit.objects.filter(number__iexact=code).select_related("tank").first()
    if visit is not None:
        return FoundCode("visit", visit.number, f"visit {visit.number} of tank {visit.tank.serial}")
    return None


def near_serials(text: str, *, limit: int = 5) -> list[str]:
    """Serials that look like a code that fits none: the same digits, else nearly the same spelling."""
    code = normal_code(text)[:24]
    digits = "".join(character for character in code if character.isdigit())
    if not code:
        return []
    found = (
        list(Tank.objects.filter(serial__contains=digits).values_list("serial", flat=True)[:limit])
        if len(digits) >= 3
        else []
    )
    if len(found) < limit:
        everything = Tank.objects.order_by("-serial").values_list("serial", flat=True)[:5000]
        found += [
            serial
            for serial in get_close_matches(code, everything, n=limit, cutoff=0.75)
            if serial not in found
        ]
    return found[:limit]
