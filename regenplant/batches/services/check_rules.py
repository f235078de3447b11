"""The plant's rule which classes have their critical entries checked by a second person."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import one_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import CheckRules, EntryCheck
from regenplant.batches.services._words import long_enough
from regenplant.core.process.vocabulary import SegregationClass


@use_case("entry.check_rules_set", permission="plant.edit")
def set_check_rules(
    *, by: By, methods: Mapping[str, str], reason: str, version: int | None = None
) -> Outcome:
    """Set by class whether critical entries are typed twice or checked by a second person. Holds at once, for running batches
    too; what was checked by a second person counts under either rule.

    Raises: RecordRefused, StaleRecord.
    """
    for cls, method in methods.items():
        one_of(cls, [item.value for item in SegregationClass], "The class", field="methods")
        one_of(method, EntryCheck.Method.values, f"The check of class {cls}", field=f"class_{cls}")
    long_enough(reason, "reason", "why it is set so")
    rules, is_new = CheckRules.objects.get_or_create(pk=1)
    label = "The checks of critical entries"
    before, after = write_changed(
        rules, {"methods": dict(methods)}, version=None if is_new else version, label=label
    )
    return Outcome(
        subject=("check_rules", "1", "checks of critical entries"),
        before=before,
        after=after,
        reason=reason.strip(),
        result=rules,
    )


def _said(subject: str, stored: dict[str, Any]) -> str:
    """Each class with its check."""
    methods: Mapping[str, str] = stored.get("after", {}).get("methods", {})
    told = ", ".join(f"{cls} {EntryCheck.Method(method).label}" for cls, method in sorted(methods.items()))
    return f"{subject[:1].upper()}{subject[1:]} were set by class: {told or 'as usual'}"


say("entry.check_rules_set", _said)
