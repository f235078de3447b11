"""Drifts at a change of shift: every one that nobody looked at yet."""

from __future__ import annotations

from datetime import datetime

from regenplant.plant.handed_on import LiveLine, LiveSection
from regenplant.quality.drift import open_alerts, rules_of


def drift_section(now: datetime) -> LiveSection:
    """One line for each lot that takes more rinse than it did. One query."""
    lines = tuple(
        LiveLine(
            f"Lot {alert.line} takes more rinse than it did.",
            f"{alert.batch}: {alert.rinsed_bv:.1f} bed volumes, mean {alert.centre_bv:.1f}, upper limit {alert.upper_bv:.1f} "
            f"({'; '.join(rule.words for rule in rules_of(alert))}). A supervisor looks at it.",
            timing=_for_days(alert.raised_at, now),
            needs_person=True,
            kind="trend",
            key=alert.line,
        )
        for alert in open_alerts()
    )
    return LiveSection(
        "drift", "Drift", lines, "No lot takes more rinse than it did, as far as anybody was told."
    )


def _for_days(since: datetime, now: datetime) -> str:
    days = (now - since).days
    return "since today" if days < 1 else "for 1 day" if days == 1 else f"for {days} days"
