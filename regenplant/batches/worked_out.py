"""Which specifications hold for the tanks of a batch, and the strictest of them where there are several.

A customer's own specification holds beside the one chosen for the batch, or instead of it where a reason for asking less was
signed for. What came out is frozen in the batch as text, figure by figure with where it comes from.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text, from_plain
from regenplant.core.process.specification import Specification
from regenplant.core.process.strictest import Origin, Part, work_out
from regenplant.recipes.models import SpecificationVersion
from regenplant.recipes.selectors import customers_specifications, specification_definition, usable_version
from regenplant.tanks.models import TankVisit


@dataclass(frozen=True, slots=True)
class FrozenPart:
    """One version that holds for tanks of these customers; no customers: for the whole batch."""

    code: str
    number: int
    digest: str
    version_id: int
    customers: tuple[str, ...]

    @property
    def name(self) -> str:
        return f"{self.code} version {self.number}"


@dataclass(frozen=True, slots=True)
class FrozenSpecification:
    """What a batch of several customers must show, and where each figure comes from."""

    specification: Specification
    parts: tuple[FrozenPart, ...]
    origins: tuple[Origin, ...]


@dataclass(frozen=True, slots=True)
class Chosen:
    """The version a batch is filed under, and the strictest of all that hold for it; None where it is that one alone."""

    version: SpecificationVersion
    worked: FrozenSpecification | None

    @property
    def text(self) -> str:
        """As the batch keeps it; "" where one version says all."""
        return canonical_text(self.worked) if self.worked else ""

    @property
    def definition(self) -> Specification:
        return self.worked.specification if self.worked else specification_definition(self.version)


def choose(leading: SpecificationVersion, visits: Iterable[TankVisit], now: datetime) -> Chosen:
    """What holds for these tanks when ``leading`` is the specification chosen for their batch.

    Two queries, and one for each customer with a specification of its own.

    Raises: RecordRefused where a customer's own has no version that holds, PlanRefused where two cannot both be met.
    """
    holding = _holding(leading, visits, now)
    if len(holding) == 1:
        return Chosen(holding[0][0], None)
    parts = [Part(_name(version), specification_definition(version)) for version, _ in holding]
    found = work_out(parts)
    frozen = tuple(
        FrozenPart(version.specification.code, version.number, version.digest, version.pk, customers)
        for version, customers in holding
    )
    return Chosen(holding[0][0], FrozenSpecification(found.specification, frozen, found.origins))


_Holding = list[tuple[SpecificationVersion, tuple[str, ...]]]


def _holding(leading: SpecificationVersion, visits: Iterable[TankVisit], now: datetime) -> _Holding:
    """(version, customers by name), the leading one first where it holds for any tank."""
    visits = list(visits)
    concerned = {visit.customer_id for visit in visits}
    by_customer: dict[int, list[tuple[SpecificationVersion, bool]]] = {}
    for row in customers_specifications(leading.specification_id):
        if row.customer_id not in concerned:
            continue
        version = usable_version(row.specification, now)
        if version is None:
            raise RecordRefused(
                f"{row.customer} has a specification of its own for {row.product.code}, {row.specification.code}, and no version "
                "of it is approved and holds now. Have one approved, or end it for this customer.",
                code="customer_specification_not_approved",
                field="specification",
            )
        by_customer.setdefault(row.customer_id, []).append((version, bool(row.looser_reason)))
    named: dict[int, tuple[SpecificationVersion, set[str]]] = {}
    leads = False
    for visit in visits:
        own = by_customer.get(visit.customer_id, [])
        leads = leads or not own or not all(is_instead for _, is_instead in own)
        for version, _ in own:
            named.setdefault(version.pk, (version, set()))[1].add(visit.customer.name)
    others = sorted(named.values(), key=lambda pair: (pair[0].specification.code, pair[0].number))
    found: _Holding = [(version, tuple(sorted(customers))) for version, customers in others]
    return [(leading, ()), *found] if leads or not found else found


def _name(version: SpecificationVersion) -> str:
    return f"{version.specification.code} version {version.number}"


def worked_of(batch: Batch) -> FrozenSpecification | None:
    """What was worked out for a batch of several customers; None where one version says all."""
    if not batch.specification_text:
        return None
    return from_plain(FrozenSpecification, json.loads(batch.specification_text))


def unlike_its_versions(batch: Batch, versions: Sequence[SpecificationVersion]) -> str:
    """Why the frozen text is not the strictest of the versions it names, as the end of a sentence; "" when it is."""
    frozen = worked_of(batch)
    if frozen is None:
        return ""
    by_pk = {version.pk: version for version in versions}
    for part in frozen.parts:
        if part.version_id not in by_pk or by_pk[part.version_id].digest != part.digest:
            return f"names {part.name}, which is not as it was frozen"
    parts = [Part(part.name, specification_definition(by_pk[part.version_id])) for part in frozen.parts]
    return (
        ""
        if work_out(parts).specification == frozen.specification
        else "is not the strictest of what it names"
    )
