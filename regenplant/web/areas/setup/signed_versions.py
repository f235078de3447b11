"""The signature under the approval of a version and under its withdrawal: one page for everything that has versions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from regenplant.audit.use_case import Outcome
from regenplant.audit.version_model import DRAFT, Version
from regenplant.core.errors import NotAllowed
from regenplant.people.approvals import approval_of, withdrawal_is_signed, withdrawal_of
from regenplant.people.models import Signature
from regenplant.people.selectors import people_who_may
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.setup.versions import WithdrawForm
from regenplant.web.house_form import moment_field, posted, words_field
from regenplant.web.presenters.words import day_and_clock, short_digest
from regenplant.web.requests import person_of
from regenplant.web.rights import right
from regenplant.web.signing import SigningForm, is_whole, sign

Fact = tuple[str, str]
TEMPLATE = "setup/sign_version.html"


class ApproveForm(SigningForm):
    """The signature under a version, and from when it holds."""

    effective_from = moment_field(label="Holds from", required=False, help_text="Empty: from now.")


class WithdrawSignedForm(SigningForm):
    """The signature that undoes an approval, and why."""

    reason = words_field(300, rows=2, label="Reason")


@never_cache
@sensitive_post_parameters("password")
def approve_page(
    request: HttpRequest,
    version: Version,
    *,
    title: str,
    permission: str,
    service: Callable[..., Outcome],
    back_url: str,
    then_url: str,
    changes: Sequence[Any] | None,
    what_runs: str = "",
    template: str = TEMPLATE,
    **shown: Any,
) -> HttpResponse:
    """What the version says and changes, and the signature of a second person under it.

    ``changes`` against the version before, None where there is none; ``what_runs`` is what becomes of what runs under that one;
    ``shown`` is what else the template shows.
    """
    form = ApproveForm(posted(request), initial={"version": version.number})
    form.fields["effective_from"].help_text = f"Empty: from now. {what_runs}".strip()
    meaning = approval_of(version)
    if request.method == "POST" and version.made_by_id == person_of(request).pk:
        # refused whatever else was typed, and before a password is looked at
        refusal = _refused(request, version, permission)
        form.add_error(None, forms.ValidationError(refusal, code=NotAllowed.code))
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            service,
            meaning=meaning,
            about=version.subject,
            version_id=version.pk,
            effective_from=form.cleaned_data["effective_from"],
        )
        if outcome is not None:
            digest = short_digest(outcome.result.signature.digest)
            receipt(request, f"Signed: {_this(version)} is approved. Digest {digest}.")
            return redirect(then_url)
        version.refresh_from_db()
    context = {
        "title": title,
        "sentence": f"Written by {version.made_by.full_name}: {version.reason.rstrip('.')}. Look at all of it, then sign.",
        "what": f"You approve {_this(version)}, its whole content as it stands here.",
        "changes": changes,
        "is_approval": True,
        "refused": _refused(request, version, permission),
        "button": "Approve and sign",
        "allowed": "Another person wrote this version.",
        "meaning": meaning,
        "back_url": back_url,
        **shown,
    }
    return _sign_page(request, version, form, template, context)


@never_cache
@sensitive_post_parameters("password")
def withdraw_page(
    request: HttpRequest,
    version: Version,
    *,
    title: str,
    sentence: str,
    permission: str,
    service: Callable[..., Outcome],
    back_url: str,
    then_url: str,
    button: str = "Withdraw it",
    only_drafts: bool = False,
) -> HttpResponse:
    """Take a version out with a reason: an approved one with a signature, a draft without.

    ``only_drafts``: the service takes no others, and no signature.
    """
    if withdrawal_is_signed(version) and not only_drafts:
        return _withdraw_signed(request, version, title, sentence, permission, service, back_url, then_url)
    form = WithdrawForm(posted(request))
    act = Act(
        title=title,
        sentence=sentence,
        permission=permission,
        service=service,
        arguments=lambda: {"version_id": version.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: {_this(version)} is withdrawn.",
        then=lambda outcome: then_url,
        back_url=back_url,
        button=button,
        is_stopping=True,
    )
    return act_page(request, form, act)


def _withdraw_signed(
    request: HttpRequest,
    version: Version,
    title: str,
    sentence: str,
    permission: str,
    service: Callable[..., Outcome],
    back_url: str,
    then_url: str,
) -> HttpResponse:
    form = WithdrawSignedForm(posted(request), initial={"version": version.number})
    meaning = withdrawal_of(version)
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            service,
            meaning=meaning,
            about=version.subject,
            version_id=version.pk,
            reason=form.text("reason"),
        )
        if outcome is not None:
            digest = short_digest(outcome.result.withdrawal_signature.digest)
            receipt(request, f"Signed: {_this(version)} is withdrawn. Digest {digest}.")
            return redirect(then_url)
        version.refresh_from_db()
    context = {
        "title": title,
        "sentence": sentence,
        "what": f"You withdraw {_this(version)}, which was approved. It stays readable.",
        "is_approval": False,
        "refused": "" if withdrawal_is_signed(version) else f"It is {version.state} already.",
        "button": "Withdraw and sign",
        "allowed": "",
        "meaning": meaning,
        "back_url": back_url,
    }
    context["refused"] = context["refused"] or right(request, permission).reason
    return _sign_page(request, version, form, TEMPLATE, context)


def _this(version: Version) -> str:
    """ "version 2 of recipe H-HCL-100", within a sentence."""
    return f"version {version.number} of {version.noun}"


def _sign_page(
    request: HttpRequest, version: Version, form: SigningForm, template: str, context: dict[str, Any]
) -> HttpResponse:
    shown = {
        "version": version,
        "form": form,
        "signed_facts": _signed_facts(version),
        "person": person_of(request),
        "now": timezone.now(),
        **context,
    }
    return render(request, template, shown, status=refused_status(form) if form.errors else 200)


def _signed_facts(version: Version) -> list[Fact]:
    facts = [
        ("Version", str(version.number)),
        ("Written by", f"{version.made_by.full_name}, {day_and_clock(version.made_at)}"),
        ("Why", version.reason),
        ("Digest of its content", version.digest[:16]),
    ]
    if version.state != DRAFT:
        facts += [(term, words) for _, rows in signature_rows(version) for term, words in rows]
    return facts


def _refused(request: HttpRequest, version: Version, permission: str) -> str:
    """Why this person may not approve this version now; "" when they may."""
    if version.state != DRAFT:
        return f"Version {version.number} is {version.state} already."
    if version.made_by_id == person_of(request).pk:
        others = people_who_may(permission, except_pks=[version.made_by_id])[:3]
        names = " or ".join(person.full_name for person in others)
        return f"You wrote this version, so another person must approve it{f': {names}' if names else ''}."
    return right(request, permission).reason


# --- signatures to read -----------------------------------------------------------------------------------------------------
def signature_rows(version: Version) -> list[tuple[str, list[Fact]]]:
    """(what was signed, facts) of the approval and of the withdrawal; empty for a draft."""
    found = []
    if version.approved_by is not None:
        unsigned = f"{version.approved_by.full_name}, before approvals were signed"
        found.append(("Approval", _rows("Approved by", version.signature, unsigned)))
        if version.state != DRAFT and version.withdrawal_signature is not None:
            found.append(("Withdrawal", _rows("Withdrawn by", version.withdrawal_signature, "")))
    return found


def _rows(term: str, signature: Signature | None, unsigned: str) -> list[Fact]:
    if signature is None:
        return [(term, unsigned), ("Signature", "none")]
    return [
        (term, f"{signature.printed_name}, {signature.roles}"),
        ("Signed", day_and_clock(signature.signed_at)),
        ("Meaning", signature.meaning),
        ("Digest of what was signed", short_digest(signature.digest)),
    ]


def compared_signatures(compared: Iterable[Version]) -> list[tuple[str, list[Fact]]]:
    """The signatures under versions that are held side by side, each under its version."""
    return [
        (f"Version {version.number}, {what.lower()}", rows)
        for version in compared
        for what, rows in signature_rows(version)
    ]
