"""Acts on determinations of the site."""

from __future__ import annotations

from datetime import date

from django.db.models import Max

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange
from regenplant.plant.days import plant_day
from regenplant.plant.site_models import SiteDetermination


@use_case("site.determined", permission="site.determine")
def record_determination(
    *,
    by: By,
    decided_on: date,
    document: str,
    reviewer: str,
    accepts_metal: bool,
    valid_until: date | None = None,
    scope: str = "",
) -> Outcome:
    """Write down what was determined about metal-bearing resin. From now on this one holds; the earlier ones stay.

    Raises: RecordRefused, OutOfRange for a day that lies ahead, or an end before it.
    """
    today = plant_day(by.at)
    if decided_on > today:
        raise OutOfRange(
            f"The document is of {decided_on}, at the latest it is of today, {today}.",
            field="decided_on",
            seen=decided_on,
            allowed_high=today,
        )
    if valid_until is not None and valid_until < decided_on:
        raise OutOfRange(
            f"It holds until {valid_until}, which is before the day of the document, {decided_on}.",
            field="valid_until",
            seen=valid_until,
            allowed_low=decided_on,
        )
    number = (SiteDetermination.objects.aggregate(highest=Max("number"))["highest"] or 0) + 1
    row = SiteDetermination.objects.create(
        number=number,
        decided_on=decided_on,
        document=words_of(document, "The document", field="document", most=160, least=5),
        reviewer=words_of(reviewer, "The reviewer", field="reviewer", most=120, least=3),
        accepts_metal=accepts_metal,
        valid_until=valid_until,
        scope=words_of(scope, "What it covers", field="scope", most=400),
        recorded_at=by.at,
        recorded_by=by.user,
    )
    return Outcome(
        subject=("site_determination", str(row.pk), f"determination {number}"),
        after={"accepts_metal": accepts_metal, "decided_on": str(decided_on)},
        facts={
            "document": row.document,
            "reviewer": row.reviewer,
            "takes": "is taken in" if accepts_metal else "is not taken in",
        },
        reason=row.scope,
        result=row,
    )


say("site.determined", "Metal-bearing resin {takes}: {subject}, {document}, read by {reviewer}")
