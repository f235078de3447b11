"""Reading handovers: the one that waits, those before it, and the items that are open."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Case, IntegerField, QuerySet, Value, When

from regenplant.core.process.canonical import from_plain
from regenplant.plant.handed_on import LiveLine
from regenplant.shifts.live import LiveState
from regenplant.shifts.models import Handover, HandoverItem


def open_items() -> QuerySet[HandoverItem]:
    """Items that nobody closed, safety first, then the oldest."""
    rank = {kind: place for place, kind in enumerate(HandoverItem.Kind.values)}
    ranked = Case(
        *(When(kind=kind, then=Value(place)) for kind, place in rank.items()), output_field=IntegerField()
    )
    found = HandoverItem.objects.filter(closed_at__isnull=True).select_related("opened_by", "first_handover")
    return found.annotate(rank=ranked).order_by("rank", "opened_at", "id")


def closed_since(moment: datetime | None) -> QuerySet[HandoverItem]:
    """Items closed since a moment, newest first; none where no handover came before."""
    found = HandoverItem.objects.filter(closed_at__isnull=False).select_related("opened_by", "closed_by")
    return (found.filter(closed_at__gte=moment) if moment else found).order_by("-closed_at")


def handovers() -> QuerySet[Handover]:
    """All handovers, newest first, without their content."""
    return Handover.objects.select_related("handed_by", "taken_by").defer("content")


def handover_numbered(number: str) -> Handover | None:
    people = ("handed_by", "taken_by", "signature", "taking_signature")
    return Handover.objects.select_related(*people).filter(number__iexact=number.strip()).first()


def waiting_handover() -> Handover | None:
    """The handover that is signed and not taken over yet."""
    return (
        Handover.objects.select_related("handed_by", "signature").filter(state=Handover.State.SIGNED).first()
    )


def newest_handover() -> Handover | None:
    return Handover.objects.order_by("-handed_at", "-pk").first()


@dataclass(frozen=True, slots=True)
class SignedItem:
    """An open item as it stood in a handover."""

    id: int
    kind: str
    words: str
    about: str
    opened_by: str
    opened_at: str
    since: str
    """Number of the first handover it stood in; "" for one that is new in this one."""


@dataclass(frozen=True, slots=True)
class SignedHandover:
    """What a handover says, as signed."""

    number: str
    handed_by: str
    handed_at: str
    state: LiveState
    items: tuple[SignedItem, ...]
    notes: str


def signed_items() -> tuple[SignedItem, ...]:
    """The open items as a handover signed now would name them."""
    return tuple(
        SignedItem(
            item.pk,
            item.kind,
            item.words,
            item.about,
            item.opened_by.full_name,
            item.opened_at.isoformat(),
            item.first_handover.number if item.first_handover else "",
        )
        for item in open_items()
    )


def signed_content(handover: Handover) -> SignedHandover:
    """The content as data."""
    plain: dict[str, Any] = json.loads(handover.content)
    return from_plain(SignedHandover, plain)


@dataclass(frozen=True, slots=True)
class Changed:
    """What differs between a signed state and the present one."""

    new: tuple[LiveLine, ...]
    gone: tuple[LiveLine, ...]


def changed_since(signed: LiveState, present: LiveState) -> Changed:
    """Lines that came and lines that went since a handover was signed; what only counts minutes is no change."""
    before = {(line.what, line.words) for line in signed.lines}
    now = {(line.what, line.words) for line in present.lines}
    return Changed(
        tuple(line for line in present.lines if (line.what, line.words) not in before),
        tuple(line for line in signed.lines if (line.what, line.words) not in now),
    )
