"""The time-outs of signing in and signing."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import saved_words, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange
from regenplant.people.models import AccessRules

IDLE_MINUTES = (5, 240)
SIGNING_MINUTES = (1, 60)
"""What a plant may choose, lowest and highest [min]. Common practice, not from a standard."""


@use_case("access.rules_set", permission="authority.edit")
def set_access_rules(
    *, by: By, idle_minutes: int, signing_minutes: int, reason: str, version: int | None = None
) -> Outcome:
    """After how many minutes without a touch a person is signed out, and without a signature is asked in full again.

    Holds from each person's next sign-in. Raises: OutOfRange, RecordRefused, StaleRecord.
    """
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    for name, minutes, (low, high) in (
        ("idle_minutes", idle_minutes, IDLE_MINUTES),
        ("signing_minutes", signing_minutes, SIGNING_MINUTES),
    ):
        if not low <= minutes <= high:
            raise OutOfRange(
                f"{minutes} min is not possible here; choose {low} to {high} min.",
                field=name,
                seen=minutes,
                allowed_low=low,
                allowed_high=high,
            )
    rules, _ = AccessRules.objects.select_for_update().get_or_create(pk=1)
    before, after = write_changed(
        rules,
        {"idle_minutes": idle_minutes, "signing_minutes": signing_minutes},
        version=version,
        label="The time-outs",
    )
    return Outcome(
        subject=("access_rules", "1", "Time-outs"), before=before, after=after, reason=words, result=rules
    )


say("access.rules_set", saved_words(""))
