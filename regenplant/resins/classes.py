"""The segregation class of what an act on resin lots is about, by the name of its argument (``audit.classes``)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from regenplant.audit.classes import Finder
from regenplant.resins.models import ResinLot


def _of_lots(pks: Sequence[int]) -> Iterable[str]:
    return ResinLot.objects.filter(pk__in=pks).values_list("segregation_class", flat=True)


FINDERS: dict[str, Finder] = {
    "resin_lot_id": lambda pk: _of_lots((pk,)),
    "resin_lot_ids": lambda pks: _of_lots(tuple(pks)),
}
