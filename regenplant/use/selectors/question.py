"""What is asked of the audit of use: a period, what the groups are, and what narrows it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import ClassVar

from regenplant.use.models import UseShare

LONGEST_BY_DAYS = 62
"""Days up to which a period is divided into days; a longer one into months."""


class By(StrEnum):
    """What the groups are."""

    FAMILY = "family"
    VESSEL = "vessel"
    CLASS = "segregation_class"
    SHIFT = "shift"
    CUSTOMER = "customer"
    RESIN_LOT = "resin_lot"
    CHEMICAL_LOT = "chemical_lot"
    TIME = "time"

    @property
    def label(self) -> str:
        return {
            "family": "resin family",
            "vessel": "vessel",
            "segregation_class": "segregation class",
            "shift": "shift",
            "customer": "customer",
            "resin_lot": "resin lot",
            "chemical_lot": "chemical lot",
            "time": "day or month",
        }[self.value]

    @property
    def is_shared(self) -> bool:
        """Whether a batch is divided among several of them, by volume or mass."""
        return self.value in UseShare.Kind.values


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: whole days at the plant, both counted in, and what narrows it; "" narrows nothing."""

    NARROWED_ROWS: ClassVar[tuple[str, ...]] = ("chemical", "family", "segregation_class", "vessel", "shift")

    first: date
    last: date
    by: By = By.FAMILY
    chemical: str = ""
    family: str = ""
    segregation_class: str = ""
    vessel: str = ""
    shift: str = ""
    customer: str = ""
    resin_lot: str = ""
    chemical_lot: str = ""

    @property
    def narrowed(self) -> tuple[tuple[str, str], ...]:
        """Kind and code of each share that is asked for."""
        pairs = ((kind, str(getattr(self, kind))) for kind in UseShare.Kind.values)
        return tuple((kind, code) for kind, code in pairs if code)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of share that are asked for, to narrow or to divide by."""
        wanted = {kind for kind, _ in self.narrowed} | ({self.by.value} if self.by.is_shared else set())
        return tuple(kind for kind in UseShare.Kind.values if kind in wanted)

    @property
    def is_crossed(self) -> bool:
        """Whether customers and lots are asked for together: no sum stands for that, it is read from the batches."""
        return len(self.kinds) > 1

    @property
    def share_kind(self) -> str:
        """The kind of share that is summed; "" for whole batches. Of a crossed question the first."""
        return next(iter(self.kinds), "")

    @property
    def is_by_days(self) -> bool:
        """Whether the period is divided into days, where it is divided by time."""
        return (self.last - self.first).days < LONGEST_BY_DAYS


NONE_ON_RECORD = "none"
"""How a share without a code is asked for in an address."""


def stored_code(code: str) -> str:
    """A code as it stands in a share."""
    return "" if code == NONE_ON_RECORD else code
