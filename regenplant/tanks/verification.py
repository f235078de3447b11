"""Visits of tanks: numbers without a gap, and every tank in one place."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Count

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, running, shown_gap
from regenplant.tanks.models import TankVisit

GONE = ("shipped", "refused")


def check_visits(look: Look) -> Iterator[Finding]:
    numbers = running(TankVisit.objects.values_list("number", flat=True), "V-")
    look.saw(len(numbers))
    for gap in missing_numbers(numbers):
        yield Finding("visit", f"Visit {shown_gap(gap, 'V-')} missing in the record.")
    twice = (
        TankVisit.objects.exclude(state__in=GONE)
        .values("tank__serial")
        .annotate(open_visits=Count("pk"))
        .filter(open_visits__gt=1)
        .order_by("tank__serial")
    )
    for row in twice:
        yield Finding("visit", f"Tank {row['tank__serial']} is here {row['open_visits']} times at once.")


register(Check("visit", "Visits of tanks", "visits", check_visits), place=60)
