"""Acts on certificates of quality: issuing one from released records, and withdrawing one. Printing it is ``issue_paper``."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.reasons import reason_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import BatchTank
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.lifecycle import BatchState, VisitState, label
from regenplant.documents.certificate.gathering import certificate_content
from regenplant.documents.certificate.standing import certificate_numbered
from regenplant.documents.models import Certificate, CertificateWithdrawal, CertifiedTank
from regenplant.quality.models import decision_of, release_of
from regenplant.quality.standing import flag_of

PREFIX, FIRST = "CQ", 10001
MOST_TANKS = 60
CERTIFIED_STATES = (VisitState.RELEASED, VisitState.SHIPPED)


@use_case("certificate.issued", permission="certificate.issue")
def issue_certificate(*, by: By, visit_ids: Sequence[int], in_place_of: str = "") -> Outcome:
    """Issue a certificate of quality for filled tanks of released batches. ``result`` is the Certificate.

    ``visit_ids`` are round trips of tanks of one customer: one tank, or those of a delivery. ``in_place_of`` is the number of a
    certificate that this one replaces.

    Raises: RecordRefused for no tank or too many, for a tank that is not released or was withdrawn, for a record that is open for
    correction or amended and not released anew, for tanks of two customers, or for a certificate that is not known or replaced already.
    """
    links = _links(list(dict.fromkeys(visit_ids)))
    customers = sorted({link.visit.customer.name for link in links})
    if len(customers) > 1:
        raise RecordRefused(
            f"These tanks are of {' and '.join(customers)}. A certificate goes to one customer; issue one for each.",
            code="two_customers",
        )
    old = _replaced(in_place_of, links[0].visit.customer.code)
    number = next_number(Certificate, "number", PREFIX, FIRST)
    scope = Certificate.Scope.TANK if len(links) == 1 else Certificate.Scope.DELIVERY
    text = canonical_text(
        certificate_content(
            links,
            number=number,
            scope=scope.value,
            issued_at=by.at,
            issued_by=by.user.full_name,
            replaces=old.number if old else "",
        )
    )
    certificate = Certificate.objects.create(
        number=number,
        scope=scope.value,
        customer_code=links[0].visit.customer.code,
        content=text,
        digest=digest(text),
        replaces=old,
        issued_at=by.at,
        issued_by=by.user,
    )
    for position, link in enumerate(links, start=1):
        CertifiedTank.objects.create(certificate=certificate, position=position, **_rests_on(link))
    return Outcome(
        subject=("certificate", number, f"Certificate {number}"),
        facts={
            "tanks": [link.visit.tank.serial for link in links],
            "tanks_said": ", ".join(link.visit.tank.serial for link in links),
            "customer": customers[0],
            "digest": certificate.digest,
            "short": certificate.digest[:8],
            "in_place_of": f" in place of {old.number}" if old else "",
        },
        related=_related(links),
        result=certificate,
    )


@use_case("certificate.withdrawn", permission="certificate.issue")
def withdraw_certificate(*, by: By, number: str, category: str, reason: str) -> Outcome:
    """Withdraw a certificate: every print of it is void from now on. ``result`` is the Certificate.

    Raises: RecordRefused for one that is not known or withdrawn already, or without a reason.
    """
    certificate = _known(number)
    if CertificateWithdrawal.objects.filter(certificate=certificate).exists():
        raise RecordRefused(f"{certificate.number} is withdrawn already.", code="withdrawn_already")
    why = reason_of(category, reason, "why it holds no more")
    CertificateWithdrawal.objects.create(
        certificate=certificate,
        reason_category=why.category,
        reason=why.words,
        withdrawn_at=by.at,
        withdrawn_by=by.user,
    )
    lines = list(certificate.tanks.all())
    batches = dict.fromkeys(("batch", line.batch_number) for line in lines)
    tanks = dict.fromkeys(("tank", line.tank_serial) for line in lines)
    return Outcome(
        subject=("certificate", certificate.number, f"Certificate {certificate.number}"),
        facts={"short": certificate.digest[:8]},
        reason=why.sentence,
        related=(*batches, *tanks),
        result=certificate,
    )


def _known(number: str) -> Certificate:
    found = certificate_numbered(number)
    if found is None:
        raise RecordRefused(f"There is no certificate {number[:24]} here.", code="unknown_certificate")
    return found


def _replaced(number: str, customer_code: str) -> Certificate | None:
    if not number.strip():
        return None
    old = _known(number)
    if old.customer_code != customer_code:
        raise RecordRefused(
            f"{old.number} went to another customer. A certificate is replaced by one for the same.",
            code="other_customer",
        )
    later = Certificate.objects.filter(replaces=old).first()
    if later is not None:
        raise RecordRefused(f"{old.number} is replaced already, by {later.number}.", code="replaced_already")
    return old


def _links(visit_ids: Sequence[int]) -> list[BatchTank]:
    """The filled tanks, in the order of batch and position. Raises: RecordRefused for one that cannot be certified."""
    if not 1 <= len(visit_ids) <= MOST_TANKS:
        raise RecordRefused(
            f"{len(visit_ids)} tanks are chosen; a certificate names 1 to {MOST_TANKS}.", code="tank_count"
        )
    rows = BatchTank.objects.filter(visit_id__in=visit_ids, is_filled=True).select_related(
        "batch__specification_version__specification", "batch__resin_type", "batch__lot", "batch__recipe_version__recipe",
        "visit__tank__size", "visit__customer", "visit__site",
    )  # fmt: skip
    newest = {link.visit_id: link for link in rows.order_by("pk")}
    missing = [pk for pk in visit_ids if pk not in newest]
    if missing:
        raise RecordRefused(
            "One of these tanks is not filled from a batch. A certificate is issued for tanks that were filled and released.",
            code="not_filled",
        )
    links = sorted(newest.values(), key=lambda link: (link.batch.number, link.position))
    for link in links:
        _refuse_uncertifiable(link)
    return links


def _refuse_uncertifiable(link: BatchTank) -> None:
    serial, batch = link.visit.tank.serial, link.batch
    if link.is_withdrawn or link.visit.state == VisitState.WITHDRAWN:
        raise RecordRefused(
            f"{serial} was withdrawn after it was filled. No certificate is issued for it.",
            code="withdrawn_tank",
        )
    if batch.state != BatchState.RELEASED or link.visit.state not in CERTIFIED_STATES:
        raise RecordRefused(
            f"{serial} is not released: batch {batch.number} is {label(BatchState(batch.state))}, the tank "
            f"{label(VisitState(link.visit.state))}. A certificate is issued after the release.",
            code="not_released",
        )
    flag = flag_of(batch)
    if flag:
        raise RecordRefused(
            f"No certificate for {serial} now. Batch {batch.number}: {flag}", code="record_not_closed"
        )
    if release_of(batch) is None or decision_of(batch) is None:
        raise RecordRefused(f"Batch {batch.number} has no signed release.", code="not_released")


def _rests_on(link: BatchTank) -> dict[str, str | int]:
    release, decision = release_of(link.batch), decision_of(link.batch)
    assert release is not None and decision is not None
    return {
        "tank_serial": link.visit.tank.serial,
        "visit_number": link.visit.number,
        "batch_number": link.batch.number,
        "decision_version": decision.version,
        "release_version": release.version,
    }


def _related(links: Sequence[BatchTank]) -> tuple[tuple[str, str], ...]:
    batches = dict.fromkeys(("batch", link.batch.number) for link in links)
    return (*batches, *(("tank", link.visit.tank.serial) for link in links))


say("certificate.issued", "{subject} issued for {customer}: {tanks_said}{in_place_of}, digest {short}")
say("certificate.withdrawn", "{subject} withdrawn, digest {short}")
