"""Every place where a stored record no longer is what was written: for the nightly check and for an auditor.

Reads only. An empty answer means: the chain of acts holds, every signature and frozen plan fits its digest, the ledger has no
gap, and the locks that freeze rows stand in the database.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from regenplant.audit import chain, locks
from regenplant.batches.frozen import is_untouched
from regenplant.batches.models import Batch
from regenplant.chemicals.models import Movement
from regenplant.core.process.canonical import digest
from regenplant.people.models import Signature
from regenplant.people.signing import holds
from regenplant.recipes.models import RecipeVersion, SpecificationVersion


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold, as a sentence."""

    kind: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Extent:
    """How much was looked at."""

    events: int
    head: str
    signatures: int
    batches: int
    versions: int
    movements: int
    locks: int


def findings() -> Iterator[Finding]:
    """Everything that does not hold, kind by kind."""
    for name in locks.missing():
        yield Finding("lock", f"The lock {name} is missing in the database. Run migrate; it makes them anew.")
    for found in chain.verify():
        yield Finding("chain", found.sentence)
    for signature in Signature.objects.order_by("pk").iterator(500):
        if not holds(signature):
            yield Finding(
                "signature",
                f"The signature of {signature.printed_name} on {signature.record_kind} {signature.record_key} no longer fits "
                "what was signed.",
            )
    yield from _plans()
    yield from _versions()
    yield from _ledger()


def extent() -> Extent:
    """How many records ``findings`` looks at, and the head of the chain."""
    number, head = chain.head()
    return Extent(
        events=number,
        head=head,
        signatures=Signature.objects.count(),
        batches=Batch.objects.count(),
        versions=RecipeVersion.objects.count() + SpecificationVersion.objects.count(),
        movements=Movement.objects.count(),
        locks=len(locks.declared()),
    )


def _plans() -> Iterator[Finding]:
    for batch in Batch.objects.only("number", "plan_text", "plan_digest").order_by("pk").iterator(200):
        if not is_untouched(batch):
            yield Finding("plan", f"The frozen plan of batch {batch.number} no longer fits its digest.")


def _versions() -> Iterator[Finding]:
    for recipe in RecipeVersion.objects.select_related("recipe").order_by("pk").iterator(200):
        if digest(recipe.content) != recipe.digest:
            yield Finding(
                "recipe", f"Version {recipe.number} of recipe {recipe.recipe.code} no longer fits its digest."
            )
    for limits in SpecificationVersion.objects.select_related("specification").order_by("pk").iterator(200):
        if digest(limits.content) != limits.digest:
            yield Finding(
                "specification",
                f"Version {limits.number} of specification {limits.specification.code} no longer fits its digest.",
            )


def _ledger() -> Iterator[Finding]:
    expected = 1
    for number in Movement.objects.order_by("number").values_list("number", flat=True).iterator(2000):
        if number != expected:
            yield Finding(
                "ledger", f"Movement {expected} is missing before movement {number} in the chemical ledger."
            )
        expected = number + 1
