"""Alerts on drift: raised with the judgement that shows it, looked at by a named person with words."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.quality.drift import Drift, worst_of
from regenplant.quality.models import TrendAlert


@use_case("trend.drifted", permission="")
def raise_drift(*, by: By, drift: Drift) -> Outcome:
    """Say that a lot takes more rinse than it did. ``result`` is the alert."""
    alert = TrendAlert.objects.create(
        line=drift.series.line,
        recipe=drift.series.recipe,
        limit_siemens_per_m=drift.series.limit_siemens_per_m,
        batch=drift.number,
        rules=[rule.value for rule in drift.rules],
        rinsed_bv=drift.rinsed_bv,
        centre_bv=drift.centre_bv,
        upper_bv=drift.upper_bv,
        level_bv=drift.level_bv,
        baseline=drift.baseline,
        raised_at=by.happened_at,
    )
    return Outcome(
        subject=_subject(alert),
        after={"batch": alert.batch, "rules": alert.rules},
        facts={
            "batch": alert.batch,
            "rinsed": f"{drift.rinsed_bv:.2f}",
            "centre": f"{drift.centre_bv:.2f}",
            "upper": f"{drift.upper_bv:.2f}",
            "said": "; ".join(rule.words for rule in drift.rules),
        },
        related=(("batch", alert.batch),),
        result=alert,
    )


@use_case("trend.looked_at", permission="trend.look")
def look_at_trend(*, by: By, alert_id: int, words: str) -> Outcome:
    """Say what was found about a drift, and what follows. It comes again when a later rinse is worse than all seen now.

    Raises: RecordRefused, StaleRecord.
    """
    alert = TrendAlert.objects.select_for_update().filter(pk=alert_id).first()
    if alert is None:
        raise RecordRefused("This alert is not known here.", code="unknown")
    said = words_of(words, "What was found", field="words", most=300, least=10)
    hit = TrendAlert.objects.filter(pk=alert.pk, looked_at__isnull=True).update(
        looked_by=by.user, looked_at=by.at, words=said, worst_bv=worst_of(alert)
    )
    if hit != 1:
        raise StaleRecord(
            "Somebody looked at this drift already. Look at its present state.", code="looked_at"
        )
    alert.refresh_from_db()
    return Outcome(
        subject=_subject(alert),
        after={"words": said},
        facts={"worst": f"{alert.worst_bv:.2f}"},
        reason=said,
        related=(("batch", alert.batch),),
        result=alert,
    )


def _subject(alert: TrendAlert) -> tuple[str, str, str]:
    return ("trend_alert", str(alert.pk), f"Drift of lot {alert.line}")


say(
    "trend.drifted",
    "{subject}: {batch} took {rinsed} bed volumes, mean {centre}, upper limit {upper} ({said})",
)
say("trend.looked_at", "{subject} was looked at: {words}")
