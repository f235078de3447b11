"""Acts on how long records are kept: versions of the rules with a second person, legal holds placed and lifted."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.keeping.models import LegalHold, RetentionVersion
from regenplant.keeping.retention import RECORD_CLASSES, YEARS_HIGH, YEARS_LOW, newest_years, version_in_force
from regenplant.people import approvals
from regenplant.people.binding import SignaturePermit
from regenplant.resins.models import ResinLot
from regenplant.tanks.models import Customer, Tank

_LINE = versions.Line(RetentionVersion, lambda version: "The rules of retention")
_KNOWN = {
    LegalHold.Subject.BATCH: (Batch, "number"),
    LegalHold.Subject.TANK: (Tank, "serial"),
    LegalHold.Subject.CUSTOMER: (Customer, "code"),
    LegalHold.Subject.RESIN_LOT: (ResinLot, "code"),
    LegalHold.Subject.CHEMICAL_LOT: (ChemicalLot, "code"),
}


@use_case("retention.version_drafted", permission="retention.edit")
def draft_retention(*, by: By, years: Mapping[str, int], reason: str) -> Outcome:
    """The next version of the rules as a draft: whole years by class of record, every class once.

    Raises: OutOfRange for a period that cannot be; RecordRefused when a draft is open or nothing changed.
    """
    titles = {item.key: item.title for item in RECORD_CLASSES}
    if set(years) != set(titles):
        raise RecordRefused(
            f"A version names every class once: {', '.join(titles.values())}.", code="classes"
        )
    for key, value in years.items():
        if not YEARS_LOW <= value <= YEARS_HIGH:
            raise OutOfRange(
                f"{titles[key]}: {value} years; possible is from {YEARS_LOW} to {YEARS_HIGH}.",
                field=key,
                seen=value,
                allowed_low=YEARS_LOW,
                allowed_high=YEARS_HIGH,
            )
    content = canonical_text(dict(years))
    before = newest_years() if RetentionVersion.objects.filter(state=versions.APPROVED).exists() else {}
    return versions.write_draft(
        _LINE,
        by=by,
        siblings=RetentionVersion.objects.all(),
        content=content,
        is_same=lambda stored: stored == content,
        reason=reason,
        label="the rules of retention",
        facts={"changed": [titles[key] for key in titles if before.get(key) != years[key]]},
    )


@use_case("retention.version_approved", permission="retention.approve")
def approve_retention(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """Approve and sign a draft that another person wrote. Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused."""
    return approvals.approve(
        _LINE, by=by, version_id=version_id, permit=permit, effective_from=effective_from
    )


@use_case("retention.version_withdrawn", permission="retention.approve")
def withdraw_retention(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """Send a draft back, or stop an approved version before it takes force, which is signed. Raises: SignatureRefused, StaleRecord, RecordRefused."""
    version = versions.locked(_LINE, version_id)
    in_force = version_in_force(by.at)
    if in_force is not None and version.number <= in_force.number and version.state == versions.APPROVED:
        raise RecordRefused(
            f"Version {version.number} took force already. Write the next version instead, and have it approved.",
            code="took_force",
        )
    return approvals.withdraw(_LINE, by=by, version_id=version_id, reason=reason, permit=permit)


@use_case("retention.hold_placed", permission="retention.hold")
def place_hold(*, by: By, subject_kind: str, subject_key: str, reason: str) -> Outcome:
    """Keep everything about a subject, whatever its period says. ``result`` is the hold. Raises: RecordRefused."""
    one_of(subject_kind, LegalHold.Subject.values, "What the hold is on", field="subject_kind")
    model, field = _KNOWN[LegalHold.Subject(subject_kind)]
    typed = words_of(subject_key, "The code", field="subject_key", most=64, least=1)
    key = model._default_manager.filter(**{f"{field}__iexact": typed}).values_list(field, flat=True).first()
    label = LegalHold.Subject(subject_kind).label
    if key is None:
        raise RecordRefused(
            f"No {label} {typed} is known here. Copy its code from its page.", field="subject_key"
        )
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    if LegalHold.objects.filter(
        subject_kind=subject_kind, subject_key=key, reason=words, lifted_at=None
    ).exists():
        raise RecordRefused(f"This hold on {label} {key} stands already.", code="known")
    hold = LegalHold.objects.create(
        number=next_number(LegalHold, "number", "LH", 10001),
        subject_kind=subject_kind,
        subject_key=key,
        reason=words,
        placed_by=by.user,
        placed_at=by.at,
    )
    return Outcome(
        subject=("legal_hold", hold.number, hold.number),
        after={"subject": f"{label} {key}"},
        facts={"on": f"{label} {key}"},
        reason=words,
        related=((subject_kind, str(key)),),
        result=hold,
    )


@use_case("retention.hold_lifted", permission="retention.hold")
def lift_hold(*, by: By, hold_id: int, reason: str) -> Outcome:
    """Lift a hold that another person placed; the periods decide again. Raises: NotAllowed, RecordRefused, StaleRecord."""
    hold = LegalHold.objects.select_for_update().filter(pk=hold_id).first()
    if hold is None:
        raise RecordRefused("This hold is not known here.", code="unknown")
    if hold.placed_by_id == by.user.pk:
        raise NotAllowed(f"You placed {hold.number}, so another person must lift it.", code="own_work")
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    hit = LegalHold.objects.filter(pk=hold.pk, lifted_at=None).update(
        lifted_by=by.user, lifted_at=by.at, lifting_reason=words
    )
    if hit != 1:
        raise StaleRecord(f"{hold.number} is lifted already.", code="lifted")
    hold.refresh_from_db()
    return Outcome(
        subject=("legal_hold", hold.number, hold.number),
        after={"is_lifted": True},
        facts={"on": f"{hold.get_subject_kind_display()} {hold.subject_key}"},
        reason=words,
        related=((hold.subject_kind, hold.subject_key),),
        result=hold,
    )


for _event, _wording in versions.wordings("", "retention"):
    say(_event, _wording)
say("retention.hold_placed", "Legal hold {subject} was placed on {on} ({reason})")
say("retention.hold_lifted", "Legal hold {subject} on {on} was lifted ({reason})")
