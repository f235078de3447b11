"""The act on a failed calibration: a supervisor looked at what rests on the instrument, and says what follows."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.plant.models import Calibration, ImpactLook
from regenplant.quality.instrument_impact import impact_of


@use_case("instrument.impact_looked_at", permission="instrument.look_at_impact")
def look_at_impact(*, by: By, calibration_id: int, words: str, seen_digest: str = "") -> Outcome:
    """Say that the impact of a calibration that found an instrument outside was looked at, and what follows. ``result`` is the row.

    ``seen_digest`` is of the list the person saw; "" leaves it unchecked. No batch is changed: what follows for one is an act
    on that batch.

    Raises: RecordRefused (nothing was found outside, too few words), StaleRecord (looked at already, or the list changed).
    """
    row = Calibration.objects.select_related("instrument").filter(pk=calibration_id).first()
    if row is None:
        raise RecordRefused("This calibration is not known here.", code="unknown")
    if row.found_within is not False:
        raise RecordRefused(
            f"The calibration of {row.instrument.code} on {row.done_on} found nothing outside, so no impact waits for a look.",
            code="nothing_outside",
        )
    if Calibration.objects.filter(replaces=row).exists():
        raise StaleRecord("This calibration was corrected. Look at the newer one.", code="corrected")
    if ImpactLook.objects.filter(calibration=row).exists():
        raise StaleRecord("Somebody looked at this impact already. See what was written.", code="looked_at")
    said = words_of(words, "What was found and follows", field="words", most=400, least=10)
    impact = impact_of(row.instrument, row)
    if seen_digest and seen_digest != impact.digest:
        raise StaleRecord(
            "The list changed since you opened it. What you typed still stands here. Look at the list again.",
            code="list_changed",
        )
    look = ImpactLook.objects.create(
        calibration=row,
        words=said,
        results=len(impact.results),
        no_longer=impact.no_longer,
        content_digest=impact.digest,
        looked_at=by.at,
        looked_by=by.user,
    )
    return Outcome(
        subject=("instrument", str(row.instrument_id), row.instrument.code),
        facts={"of": row.done_on.isoformat(), "results": look.results, "no_longer": look.no_longer},
        reason=said,
        related=tuple(sorted({("batch", one.batch.number) for one in impact.results})),
        result=look,
    )


say(
    "instrument.impact_looked_at",
    "What the calibration of {subject} on {of} means was looked at: {results} results rest on it, {no_longer} would hold no longer",
)
