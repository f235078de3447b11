"""Rules about what is written down: which entries need an accuracy check, and which may be left without a value."""

from __future__ import annotations

from regenplant.core.process.plan import EntrySpec

CRITICAL_KEYS = ("stock_drawn", "volume_fed", "strength")
"""Entries by which a bed is spoiled when they are wrong: chemical volume and strength. Plans that do not say by themselves
which entries are critical go by these."""

NO_NUMBERS = ("confirm", "choice", "text", "second_person")
"""Kinds of entry that hold no number: a tick, a choice, words, a tick of two people."""

RUNNING_TOTALS = ("volume_fed", "stock_drawn", "volume")
"""Written again and again while a step runs: below the least they mean "not yet", never "outside"."""


def is_critical(spec: EntrySpec) -> bool:
    """Whether this entry is typed twice or checked by a second person."""
    return spec.key in CRITICAL_KEYS if spec.is_critical is None else spec.is_critical


def may_be_left(spec: EntrySpec) -> bool:
    """Whether an entry may stand as not done or not applicable. What must be true before a step starts is done, or the step
    does not start: a row that says otherwise would let chemical flow past it."""
    return not (spec.is_before and spec.is_required) or spec.may_not_apply


def applies_always(spec: EntrySpec) -> bool:
    """Whether only a person who may decide so can say that it does not apply: the plan asks for it without exception."""
    return spec.is_required and not spec.may_not_apply
