"""Open items of the shifts: opened at any time, carried on until somebody closes them with words."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.shifts.models import HandoverItem

LEAST_WORDS = 5
MOST_WORDS = 400


@use_case("shift.item_opened", permission="shift.hand_over")
def open_item(*, by: By, words: str, kind: str, about: str = "") -> Outcome:
    """Write down something that the next shift must know. ``about`` is the code of what it concerns, if it has one.

    Raises: RecordRefused.
    """
    one_of(kind, HandoverItem.Kind.values, "The kind of item", field="kind")
    item = HandoverItem.objects.create(
        kind=kind,
        words=words_of(words, "The item", field="words", most=MOST_WORDS, least=LEAST_WORDS),
        about=words_of(about, "The code", field="about", most=40).upper(),
        opened_by=by.user,
        opened_at=by.happened_at,
    )
    return Outcome(
        subject=("shift_item", str(item.pk), f"Open item {item.pk}"),
        after={"words": item.words, "kind": item.get_kind_display(), "about": item.about},
        result=item,
    )


@use_case("shift.item_closed", permission="shift.hand_over")
def close_item(*, by: By, item_id: int, words: str, version: int | None = None) -> Outcome:
    """Close an item, saying what was done. Raises: RecordRefused, StaleRecord."""
    item = HandoverItem.objects.filter(pk=item_id).first()
    if item is None:
        raise RecordRefused("There is no such item here.", code="unknown_item")
    if item.closed_at is not None:
        raise RecordRefused(f"This item was closed already: {item.closing_words}", code="closed_already")
    said = words_of(words, "What was done", field="words", most=MOST_WORDS, least=LEAST_WORDS)
    values = {"closed_by": by.user, "closed_at": by.happened_at, "closing_words": said}
    write_changed(item, values, version=version, label="This item")
    return Outcome(
        subject=("shift_item", str(item.pk), f"Open item {item.pk}"),
        after={"closed": True},
        facts={"words": item.words},
        reason=said,
        result=item,
    )


say("shift.item_opened", "{subject}, {kind}: {words}")
say("shift.item_closed", "{subject} was closed: {words}")
