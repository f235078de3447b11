"""The authority matrix to read: in force, and each version with what it changes."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.audit.selectors import story
from regenplant.people.authority import BUILT_IN, Matrix
from regenplant.people.authority_changes import changes_between, people_changes
from regenplant.people.models import AuthorityVersion
from regenplant.people.selectors import access_rules
from regenplant.web.areas.setup.signed_versions import signature_rows
from regenplant.web.areas.setup.versions import SHIPPED, mark_of
from regenplant.web.presenters import authority as words
from regenplant.web.requests import person_of
from regenplant.web.rights import right


def version_or_404(number: int) -> AuthorityVersion:
    """The version with this number."""
    rows = AuthorityVersion.objects.select_related("made_by", "approved_by", "signature")
    found = rows.filter(number=number).first() if number < 2**31 else None
    if found is None:
        raise Http404(f"There is no version {number} of the authority matrix.")
    return found


def before(version: AuthorityVersion) -> Matrix:
    """The matrix that was approved before this version; the program's own when there was none."""
    earlier = AuthorityVersion.objects.filter(state="approved", number__lt=version.number).first()
    return earlier.matrix if earlier is not None else BUILT_IN


def shared(request: HttpRequest) -> dict[str, Any]:
    """What every page of the matrix shows."""
    return {
        "roles": words.ROLES,
        "classes": words.CLASS_WORDS,
        "edit": right(request, "authority.edit"),
        "approve": right(request, "authority.approve"),
    }


@require_safe
def matrix(request: HttpRequest) -> HttpResponse:
    """The matrix in force."""
    now = timezone.now()
    found = AuthorityVersion.in_force(now)
    versions = list(AuthorityVersion.objects.select_related("made_by", "approved_by"))
    draft = next((version for version in versions if version.state == "draft"), None)
    later = [v for v in versions if v.state == "approved" and v.effective_from and v.effective_from > now]
    context = {
        "groups": words.groups_of(found),
        "found": found,
        "sentence": _sentence(found, draft, later),
        "versions": versions,
        "draft": draft,
        "times": access_rules(),
        "story": story([("authority", "matrix"), ("access_rules", "1")], newest_first=True, limit=20),
        **shared(request),
    }
    return render(request, "authority/matrix.html", context)


def _sentence(found: Matrix, draft: AuthorityVersion | None, later: list[AuthorityVersion]) -> str:
    stands = (
        f"Version {found.number} is in force."
        if found.number
        else f"The program’s own table is in force, {SHIPPED}; no version is written yet."
    )
    waits = (
        f" Draft {draft.number} by {draft.made_by.full_name} waits for its second person." if draft else ""
    )
    comes = f" Version {later[0].number} takes force later." if later else ""
    return f"{stands}{comes}{waits} What no role holds here, nobody may do."


@require_safe
def version(request: HttpRequest, number: int) -> HttpResponse:
    """One version: what it changes, for whom, and what it says."""
    found = version_or_404(number)
    context = {
        "version": found,
        "mark": mark_of(found),
        "signatures": signature_rows(found),
        "is_own": found.made_by_id == person_of(request).pk,
        "groups": words.groups_of(found.matrix),
        "found": found.matrix,
        **changes_context(found),
        **shared(request),
    }
    return render(request, "authority/version.html", context)


def changes_context(version: AuthorityVersion) -> dict[str, Any]:
    """What this version changes against the one before: rights, people, and what nobody could do."""
    old, new = before(version), version.matrix
    return {
        "changes": rows_of_changes(old, new),
        "people": people_changes(old, new),
        "nobody": words.held_by_nobody(new),
    }


def rows_of_changes(old: Matrix, new: Matrix) -> list[dict[str, str]]:
    """Differences as the shared table of changes shows them."""
    return [
        {"where": change.thing, "what": change.title, "old": change.old, "new": change.new}
        for change in changes_between(old, new)
    ]
