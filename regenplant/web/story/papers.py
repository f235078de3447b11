"""Certificates of the story: with each tank, with a delivery, one issued anew and one withdrawn."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import groupby
from operator import attrgetter

from regenplant.batches.models import BatchTank
from regenplant.documents import services as documents
from regenplant.documents.models import Certificate
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)


class Paper(StrEnum):
    """What goes with the tanks of a batch."""

    NONE = "none"
    TANK = "tank"
    """A certificate with each tank."""
    DELIVERY = "delivery"
    """One with the delivery of each customer."""
    FORGOTTEN = "forgotten"
    """The last tank was left out at first: the certificate is issued anew in place of the short one."""
    WITHDRAWN = "withdrawn"
    """The certificate is withdrawn: it lay in the wrong truck."""


def certify(stage: Stage, who: str, paper: Paper, links: Sequence[BatchTank], at: datetime) -> Script:
    """Certificates for these tanks, customer by customer; the first of them is printed."""
    if paper is Paper.NONE:
        return
    by_customer = attrgetter("visit.customer_id")
    is_printed = True
    for _, together in groupby(sorted(links, key=by_customer), key=by_customer):
        visits = [link.visit_id for link in together]
        old = ""
        for chosen in _parts(paper, visits):
            at += 2 * MINUTE
            yield at
            issued: Certificate = documents.issue_certificate(
                by=stage.by(who, at), visit_ids=chosen, in_place_of=old
            ).result
            old = issued.number if paper is Paper.FORGOTTEN else ""
            if is_printed:
                documents.issue_paper(by=stage.by(who, at), kind=documents.CERTIFICATE, key=issued.number)
                is_printed = False
        if paper is Paper.WITHDRAWN:
            at += 20 * MINUTE
            yield at
            documents.withdraw_certificate(
                by=stage.by("vale", at),
                number=issued.number,
                category="place",
                reason="It lay in the truck to another site; a new one follows these tanks.",
            )
            at += 10 * MINUTE
            yield at
            documents.issue_certificate(by=stage.by(who, at), visit_ids=visits)
            paper = Paper.DELIVERY


def _parts(paper: Paper, visits: Sequence[int]) -> list[Sequence[int]]:
    """Which tanks each certificate names."""
    if paper is Paper.TANK:
        return [[visit] for visit in visits]
    if paper is Paper.FORGOTTEN and len(visits) > 1:
        return [visits[:-1], visits]
    return [visits]
