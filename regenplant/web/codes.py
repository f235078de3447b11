"""What any code in the plant means: tank, visit, batch, vessel, resin lot, chemical lot, instrument, deviation, paper form, handover,
retained sample, certificate, near miss, wash station, planned batch, and what was purged.

A scan identifies: it finds a page and changes nothing. Codes are read without regard to case and spaces. Each kind
is looked up by one query, in the order in which people scan.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches

from django.db.models import Model
from django.urls import NoReverseMatch, reverse

from regenplant.batches.models import Batch, Deviation
from regenplant.chemicals.models import ChemicalLot
from regenplant.documents.models import Certificate
from regenplant.keeping.models import PaperForm, Purge, PurgedRow
from regenplant.planning.models import PlannedBatch
from regenplant.plant.models import Instrument, Vessel
from regenplant.quality.models import RetainedSample
from regenplant.resins.models import ResinLot
from regenplant.safety.models import NearMiss, WashStation
from regenplant.shifts.models import Handover
from regenplant.tanks.selectors import find_code, near_serials, normal_code

LONGEST = 80


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of thing that carries a code, the field that holds it, and the name of the address of its page."""

    noun: str
    model: type[Model]
    field: str
    page: str


KINDS = (
    Kind("batch", Batch, "number", "batches-detail"),
    Kind("planned batch", PlannedBatch, "code", "planned-batch"),
    Kind("deviation", Deviation, "number", "deviations-detail"),
    Kind("vessel", Vessel, "code", "setup-vessel"),
    Kind("resin lot", ResinLot, "code", "setup-lot"),
    Kind("chemical lot", ChemicalLot, "code", "chemicals-lot"),
    Kind("instrument", Instrument, "code", "setup-instrument"),
    Kind("paper form", PaperForm, "number", "paper-forms-form"),
    Kind("purged batch", Purge, "batch_number", "retention-purged"),
    Kind("purge", Purge, "number", "retention-purged"),
    Kind("purged record", PurgedRow, "number", "retention-purged"),
    Kind("retained sample", RetainedSample, "number", "samples-one"),
    Kind("certificate", Certificate, "number", "certificate"),
    Kind("handover", Handover, "number", "handover-one"),
    Kind("near miss", NearMiss, "number", "safety-near-miss"),
    Kind("wash station", WashStation, "code", "safety-washing-change"),
)
"""Everything with a code besides tanks and visits, which ``tanks.selectors`` knows."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a code is, and the address of its page ("" if this thing has no page of its own)."""

    noun: str
    key: str
    url: str


def find(text: str) -> Found | None:
    """The one thing with this code; None if there is none."""
    code = normal_code(text[:LONGEST])
    if not code:
        return None
    tank = find_code(code)
    if tank is not None:
        page = "tanks-detail" if tank.kind == "tank" else "intake-visit"
        return Found(tank.kind, tank.key, reverse(page, args=[tank.key]))
    return next(_matches(code), None)


def _matches(code: str) -> Iterator[Found]:
    for kind in KINDS:
        key = (
            kind.model._default_manager.filter(**{f"{kind.field}__iexact": code})
            .values_list(kind.field, flat=True)
            .first()
        )
        if key is not None:
            yield Found(kind.noun, key, _address(kind.page, key))


def _address(page: str, key: str) -> str:
    try:
        return reverse(page, args=[key])
    except NoReverseMatch:
        return ""


def near(text: str, *, limit: int = 6) -> list[Found]:
    """Things whose codes look like one that fits none, tanks first."""
    code = normal_code(text[:LONGEST])
    if len(code) < 2:
        return []
    found = [
        Found("tank", serial, reverse("tanks-detail", args=[serial]))
        for serial in near_serials(code, limit=limit)
    ]
    for kind in KINDS:
        newest = kind.model._default_manager.order_by("-pk").values_list(kind.field, flat=True)[:2000]
        close = get_close_matches(code, list(newest), n=limit, cutoff=0.75)
        found += [Found(kind.noun, key, _address(kind.page, key)) for key in close]
    return found[:limit]
