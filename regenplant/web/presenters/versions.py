"""Signed versions of one record side by side: what each says, why it was amended, and what it changed."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from regenplant.audit.reasons import reason_sentence
from regenplant.people.models import Signature
from regenplant.quality.models import Release
from regenplant.quality.record import BatchRecord
from regenplant.web.presenters.words import day_and_clock, sentence_case, short_digest


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs between two versions."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class VersionView:
    """One signed version of a decision or release, with what changed against the one before."""

    what: str
    version: int
    facts: tuple[tuple[str, str], ...]
    why: str
    differences: tuple[Difference, ...]


def decision_versions(record: BatchRecord) -> list[VersionView]:
    """Every version of the decision, newest first, each with its difference to the one before."""
    found, before = [], None
    for row in record.decisions:
        why = ""
        if row.reopening is not None:
            why = f"{row.reopening.reopened_by.full_name}, {day_and_clock(row.reopening.reopened_at)}: {reason_sentence(row.reopening.reason_category, row.reopening.reason)}"
        found.append(
            VersionView(
                "Decision",
                row.version,
                tuple(_signed_facts(row.verdict, row.reason, row.signature)),
                why,
                tuple(differences(before.content, row.content)) if before is not None else (),
            )
        )
        before = row
    return found[::-1]


def release_versions(releases: Sequence[Release]) -> list[VersionView]:
    """Every version of the release, newest first."""
    found: list[VersionView] = []
    before: Release | None = None
    for row in releases:
        found.append(
            VersionView(
                "Release",
                row.version,
                tuple(_signed_facts("released", "", row.signature)),
                "",
                tuple(differences(before.signature.content, row.signature.content))
                if before is not None
                else (),
            )
        )
        before = row
    return found[::-1]


def _signed_facts(verdict: str, reason: str, signature: Signature) -> Iterator[tuple[str, str]]:
    yield "Verdict", verdict
    if reason:
        yield "Reason", reason
    yield "Signed by", f"{signature.printed_name}, {signature.roles}"
    yield "At", day_and_clock(signature.signed_at)
    yield "Meaning", signature.meaning
    yield "Digest", short_digest(signature.digest)


MOST_DIFFERENCES = 60
NOT_SHOWN = ("amends",)
"""What every amended version says; its reason stands above already."""
NO_NEWS = ("id", "seen", "value_si", "filled")
"""Keys of rows, SI beside what was typed, and tanks filled between two versions: signed, but nothing a reader looks for."""


def differences(before: str, after: str) -> Iterator[Difference]:
    """What differs between two signed contents, line by line; rows are told apart by what they are called, not by their place."""
    old, new = _flat(json.loads(before)), _flat(json.loads(after))
    count = 0
    for name in dict.fromkeys((*old, *new)):
        if old.get(name) == new.get(name) or name.split(" · ")[0] in NOT_SHOWN:
            continue
        if name.split(" · ")[-1] in NO_NEWS:
            continue
        count += 1
        if count > MOST_DIFFERENCES:
            yield Difference("and more", "", "The complete copy of the batch holds both versions whole.")
            return
        words = sentence_case(name.replace(" · ", ", ").replace("_", " "))
        yield Difference(words, old.get(name, "–"), new.get(name, "–"))


def _flat(value: Any, name: str = "") -> dict[str, str]:
    if isinstance(value, dict):
        found: dict[str, str] = {}
        for key, item in value.items():
            found |= _flat(item, f"{name} · {key}" if name else str(key))
        return found
    if isinstance(value, list):
        found = {}
        for index, item in enumerate(value, start=1):
            found |= _flat(item, f"{name} {_called(item, index)}")
        return found
    if isinstance(value, bool):
        return {name: "yes" if value else "no"}
    return {name: "" if value is None else str(value)}


def _called(item: Any, index: int) -> str:
    """How a row of a list is called: a reading by its time, anything else by its key, number or place."""
    if isinstance(item, dict):
        for key in ("number", "serial", "key", "measurement", "at"):
            if item.get(key):
                return f"{str(item[key])[:16]}"
    return str(index)
