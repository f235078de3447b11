"""The segregation class of what an act on tanks is about, by the name of its argument (``audit.classes``).

A visit that is not accepted yet has no class of its own: its tank's holds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from regenplant.audit.classes import Finder
from regenplant.tanks.models import ExpectedTank, Tank, TankVisit


def _of_visits(pks: Sequence[int]) -> Iterable[str]:
    rows = TankVisit.objects.filter(pk__in=pks).values_list("segregation_class", "tank__segregation_class")
    return [own or of_tank for own, of_tank in rows]


FINDERS: dict[str, Finder] = {
    "tank_id": lambda pk: Tank.objects.filter(pk=pk).values_list("segregation_class", flat=True),
    "tank_ids": lambda pks: Tank.objects.filter(pk__in=list(pks)).values_list("segregation_class", flat=True),
    "expected_number": lambda number: ExpectedTank.objects.filter(number=number).values_list(
        "tank__segregation_class", flat=True
    ),
    "visit_id": lambda pk: _of_visits((pk,)),
    "visit_ids": lambda pks: _of_visits(tuple(pks)),
}
