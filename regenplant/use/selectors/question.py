"""What is asked of the audit of use: a period, what the groups are, and what narrows it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from regenplant.core.errors import RecordRefused
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
    def share_kind(self) -> str:
        """The kind of share that is summed; "" for whole batches.

        Raises: RecordRefused where two kinds meet: what one customer's resin took of one lot is not kept.
        """
        kinds = {kind for kind, _ in self.narrowed} | ({self.by.value} if self.by.is_shared else set())
        if len(kinds) > 1:
            names = " and ".join(sorted(By(kind).label for kind in kinds))
            raise RecordRefused(
                f"Shares by {names} are kept each for itself, not together. Choose one of them, or look at the batches.",
                field="by",
                code="two_shares",
            )
        return kinds.pop() if kinds else ""

    @property
    def is_by_days(self) -> bool:
        """Whether the period is divided into days, where it is divided by time."""
        return (self.last - self.first).days < LONGEST_BY_DAYS


NONE_ON_RECORD = "none"
"""How a share without a code is asked for in an address."""


def stored_code(code: str) -> str:
    """A code as it stands in a share."""
    return "" if code == NONE_ON_RECORD else code
