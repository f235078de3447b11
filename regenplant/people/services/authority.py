"""Acts on the authority matrix: drafted by one person, approved and signed by another, in force from a date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.people import approvals, standing
from regenplant.people.authority import (
    CLASSES,
    EVERY_CLASS,
    RIGHTS,
    Matrix,
    Role,
    is_classed,
    matrix_of,
    not_kept_apart,
    plain_of,
)
from regenplant.people.authority_changes import changes_between, current_matrix
from regenplant.people.binding import SignaturePermit
from regenplant.people.models import AuthorityVersion
from regenplant.people.rights_in_words import title_of

_LINE = versions.Line(AuthorityVersion, lambda version: "The matrix")

Rights = Mapping[str, Mapping[str, Sequence[str]]]


def _matrix_from(rights: Rights) -> Matrix:
    """The matrix that was typed. Raises: RecordRefused for a right, role or class that is none."""
    for permission, held in rights.items():
        if permission not in RIGHTS:
            raise RecordRefused(f"There is no right {permission}.", code="unknown_right")
        for role, classes in held.items():
            if role not in list(Role):
                raise RecordRefused(f"There is no role {role}.", code="unknown_role")
            unknown = [item for item in classes if item not in (EVERY_CLASS, *CLASSES)]
            if unknown:
                raise RecordRefused(f"There is no class {unknown[0]}.", code="unknown_class")
            if not classes:
                raise RecordRefused(
                    f"{title_of(permission)} The role {role} is ticked, and every class is taken out. Untick the role.",
                    code="no_class_left",
                )
            if not is_classed(permission) and list(classes) != [EVERY_CLASS]:
                raise RecordRefused(
                    f"{title_of(permission)} This is about nothing that has a class, so it cannot be limited to one.",
                    code="not_classed",
                )
    whole = {permission: rights.get(permission, {}) for permission in RIGHTS}
    return matrix_of(whole, 0)


def _refuse_unfit(matrix: Matrix) -> None:
    """Raise RecordRefused when two persons' work falls to one role, or nobody could keep people and matrix."""
    joined = not_kept_apart(matrix)
    if joined:
        role, group = joined[0]
        named = "; ".join(title_of(permission).rstrip(".") for permission in group)
        raise RecordRefused(
            f"The role {role} would hold alone what two persons must do: {named}. Take one of these away.",
            code="not_kept_apart",
        )
    lost = standing.missing_keepers(matrix, standing.roles_of_everybody())
    if lost:
        raise RecordRefused(
            f"{' '.join(lost)} Leave these rights with roles that active people have.", code="no_keeper_left"
        )


@use_case("authority.version_drafted", permission="authority.edit")
def draft_authority(*, by: By, rights: Rights, reason: str) -> Outcome:
    """The next version of the matrix as a draft: {right: {role: ["*"] or classes}}; what is not named is denied.

    Raises: RecordRefused, also for what no matrix may say.
    """
    matrix = _matrix_from(rights)
    _refuse_unfit(matrix)
    content = canonical_text(plain_of(matrix))
    if content == canonical_text(plain_of(current_matrix())):
        raise RecordRefused(
            "This is the same as the matrix that is approved. Nothing was written.", code="nothing_changed"
        )
    return versions.write_draft(
        _LINE,
        by=by,
        siblings=AuthorityVersion.objects.all(),
        content=content,
        is_same=lambda stored: stored == content,
        reason=reason,
        label="the matrix",
    )


@use_case("authority.version_approved", permission="authority.approve")
def approve_authority(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """Approve and sign a draft that another person wrote; it holds from ``effective_from`` (default: now).

    Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused.
    """
    version: AuthorityVersion = versions.locked(_LINE, version_id)
    versions.refuse_own_work(_LINE, version, by)
    versions.refuse_decided(_LINE, version)
    _refuse_unfit(version.matrix)
    changes = [
        {"right": change.permission, "before": change.old, "after": change.new}
        for change in changes_between(current_matrix(), version.matrix)
    ]
    return approvals.approve(
        _LINE,
        by=by,
        version_id=version_id,
        permit=permit,
        effective_from=effective_from,
        also_signed={"changes": changes},
    )


@use_case("authority.version_withdrawn", permission="authority.approve")
def withdraw_authority(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """Send a draft back, or stop an approved version before it takes force, which is signed.

    A version that took force stays: rights change by the next version only, which takes two persons.
    Raises: SignatureRefused, StaleRecord, RecordRefused.
    """
    version: AuthorityVersion = versions.locked(_LINE, version_id)
    if version.state == versions.APPROVED and (version.effective_from or by.at) <= by.at:
        raise RecordRefused(
            f"Version {version.number} took force already. Write the next version instead, and have it approved.",
            code="took_force",
        )
    return approvals.withdraw(_LINE, by=by, version_id=version_id, reason=reason, permit=permit)


@use_case("authority.draft_taken_back", permission="authority.edit")
def take_back_authority_draft(*, by: By, version_id: int, reason: str) -> Outcome:
    """The writer's side gives up a draft. Raises: StaleRecord, RecordRefused."""
    version: AuthorityVersion = versions.locked(_LINE, version_id)
    versions.refuse_decided(_LINE, version)
    return approvals.withdraw(_LINE, by=by, version_id=version_id, reason=reason, permit=None)


for _event, _wording in versions.wordings("", "authority"):
    say(_event, _wording)
say("authority.draft_taken_back", "{subject}: draft {version} was taken back ({reason})")
