"""How long records are kept: rules with a second person, legal holds, and what could go when."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.by import By
from regenplant.audit.selectors import acts_about, story
from regenplant.audit.use_case import Outcome
from regenplant.batches.models import Batch
from regenplant.documents.selectors import copies_made
from regenplant.keeping import purging, retention, services
from regenplant.keeping.copy import COPIED
from regenplant.keeping.models import LegalHold, RetentionVersion
from regenplant.people.signing import needs_full_credentials
from regenplant.plant.selectors import plant_day
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.batches.page import batch_or_404
from regenplant.web.areas.keeping.forms import CopyForm
from regenplant.web.areas.setup.rule_versions import RuleVersions
from regenplant.web.areas.setup.signed_versions import signature_rows
from regenplant.web.areas.setup.versions import SHIPPED
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.rights import right
from regenplant.web.signing import TwoPeopleForm, prove_two
from regenplant.web.why import TEN, told

BOTH = require_http_methods(["GET", "HEAD", "POST"])
MOST_SHOWN = 50
"""Batches on the page: those whose period ends first."""


class RulesForm(HouseForm):
    """Years for every class of record."""

    reason = words_field(300, rows=2, label="Why", help_text="Law, contract, or the plant’s own decision.")

    def extra_fields(self) -> dict[str, forms.Field]:
        return {
            item.key: forms.IntegerField(
                label=f"{item.title}, years",
                help_text=item.basis.capitalize(),
                min_value=retention.YEARS_LOW,
                max_value=retention.YEARS_HIGH,
                widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
                error_messages={
                    "min_value": f"Possible is from {retention.YEARS_LOW} year.",
                    "max_value": f"Possible is up to {retention.YEARS_HIGH} years.",
                },
            )
            for item in retention.RECORD_CLASSES
        }

    def years(self) -> dict[str, int]:
        return {item.key: int(self.cleaned_data[item.key]) for item in retention.RECORD_CLASSES}


class HoldForm(HouseForm):
    subject_kind = forms.ChoiceField(
        label="Hold on",
        choices=[("", "Choose what"), *LegalHold.Subject.choices],
        help_text="A customer: all their tanks’ batches.",
    )
    subject_key = words_field(
        64, label="Its code", help_text="Batch number, serial, customer code or lot code."
    )
    reason = words_field(300, rows=2, label="Reason", help_text=TEN, validators=[told("why it is kept")])


class PurgeForm(CopyForm, TwoPeopleForm):
    """The copy read back, the reason, and both people, each with their own password."""

    meaning = services.PURGE_MEANING
    second_person = "Another person who may purge."
    reason = words_field(300, rows=2, label="Reason", help_text=TEN, validators=[told("why it goes")])

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.order_fields(("file", "reason", *self.OWN, *self.SECOND))
        self.fields["file"].help_text = "The ZIP file as it was made here. At most 16 MB. It is not stored."


class LiftForm(HouseForm):
    reason = words_field(300, rows=2, label="Why it is lifted")


def _rows(years: dict[str, int]) -> list[tuple[str, str, str]]:
    """(class, years, what the proposal rests on)."""
    return [(item.title, f"{years[item.key]} years", item.basis) for item in retention.RECORD_CLASSES]


def _version(number: int) -> RetentionVersion:
    return get_object_or_404(retention.versions(), number=number)


def _changes(version: RetentionVersion) -> list[dict[str, str]]:
    old, new = retention.years_before(version), retention.years_from(version.content)
    return [
        {"where": "", "what": item.title, "old": f"{old[item.key]} years", "new": f"{new[item.key]} years"}
        for item in retention.RECORD_CLASSES
        if old[item.key] != new[item.key]
    ]


@require_safe
def retention_page(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    found, versions = retention.version_in_force(now), list(retention.versions())
    today = plant_day(now)
    kept = retention.kept_batches(now)
    past = [row for row in kept if row.is_past(today)]
    context = {
        "sentence": (
            f"Version {found.number} of the rules holds. {len(past)} of {len(kept)} batches are past their period."
            if found
            else f"The plant has decided nothing yet. What stands here are proposals, {SHIPPED}, and nothing goes by them."
        ),
        "is_decided": found is not None,
        "rules": _rows(retention.years_in_force(now)),
        "versions": versions,
        "draft": next((version for version in versions if version.state == "draft"), None),
        "holds": list(retention.holds()),
        "kept": [(row, row.is_past(today)) for row in kept[:MOST_SHOWN]],
        "purges": list(retention.purges()),
        "purge": right(request, services.PURGE_RIGHT),
        "left_off": max(len(kept) - MOST_SHOWN, 0),
        "edit": right(request, "retention.edit"),
        "hold": right(request, "retention.hold"),
        "story": story([retention_subject()], newest_first=True, limit=10),
    }
    return render(request, "keeping/retention.html", context)


def retention_subject() -> tuple[str, str]:
    """Where the acts on the rules stand in the log."""
    return ("retention", "rules")


@require_safe
def version_page(request: HttpRequest, number: int) -> HttpResponse:
    version = _version(number)
    context = {
        "version": version,
        "rules": _rows(retention.years_from(version.content)),
        "changes": _changes(version),
        "signatures": signature_rows(version),
        "is_own": version.made_by_id == request.user.pk,
        "approve": right(request, "retention.approve"),
    }
    return render(request, "keeping/retention_version.html", context)


@BOTH
def draft(request: HttpRequest) -> HttpResponse:
    initial: dict[str, Any] = dict(retention.newest_years())
    form = RulesForm(posted(request), initial=initial)
    act = Act(
        title="Next version of the rules of retention",
        sentence="The longest period of a family of batches wins, and a legal hold beats them all. Another person approves.",
        permission="retention.edit",
        service=services.draft_retention,
        arguments=lambda: {"years": form.years(), "reason": form.text("reason")},
        said=lambda outcome: f"Written: draft {outcome.result.number} of the rules of retention.",
        then=lambda outcome: reverse("retention-version", args=[outcome.result.number]),
        back_url=reverse("retention"),
        button="Write the draft",
    )
    return act_page(request, form, act)


RULES = RuleVersions(
    "the rules of retention",
    "retention",
    "retention.approve",
    services.approve_retention,
    services.withdraw_retention,
)


@BOTH
def approve(request: HttpRequest, number: int) -> HttpResponse:
    version = _version(number)
    rules = [(what, years) for what, years, _ in _rows(retention.years_from(version.content))]
    return RULES.approve(request, version, _changes(version), [("Rules", rules)])


@BOTH
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    return RULES.withdraw(request, _version(number))


@BOTH
def place(request: HttpRequest) -> HttpResponse:
    form = HoldForm(posted(request))
    act = Act(
        title="Place a legal hold",
        sentence="Everything about it is kept until another person lifts the hold.",
        permission="retention.hold",
        service=services.place_hold,
        arguments=lambda: {name: form.text(name) for name in ("subject_kind", "subject_key", "reason")},
        said=lambda outcome: f"Written: hold {outcome.result}.",
        then=lambda outcome: reverse("retention"),
        back_url=reverse("retention"),
        button="Place the hold",
    )
    return act_page(request, form, act)


@BOTH
def lift(request: HttpRequest, number: str) -> HttpResponse:
    hold = get_object_or_404(retention.holds(), number=number.upper())
    form = LiftForm(posted(request))
    act = Act(
        title=f"Lift hold {hold.number}",
        sentence=f"On {hold.get_subject_kind_display()} {hold.subject_key}, placed by {hold.placed_by.full_name}: {hold.reason}",
        permission="retention.hold",
        service=services.lift_hold,
        arguments=lambda: {"hold_id": hold.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: hold {hold.number} is lifted.",
        then=lambda outcome: reverse("retention"),
        back_url=reverse("retention"),
        button="Lift the hold",
        is_stopping=True,
    )
    return act_page(request, form, act)


@require_safe
def purged(request: HttpRequest, number: str) -> HttpResponse:
    """What stays of a batch that was purged: who, why, which copy, what went, and every act on it."""
    found = retention.purge_that_took(number.upper())
    if found is None:
        raise Http404(f"Nothing with the number {number} was purged.")
    signed = json.loads(found.content)
    context = {
        "purge": found,
        "gone": purging.in_words(signed["rows"]),
        "copied": [
            line
            for line in acts_about([("batch", found.batch_number)], [COPIED])
            if line.number == signed["copy_act"]
        ],
        "story": story([("batch", found.batch_number)], newest_first=True),
    }
    return render(request, "keeping/purged.html", context)


@BOTH
def purge(request: HttpRequest, number: str) -> HttpResponse:
    """Remove the record of a batch past its period: the copy, a reason, two people."""
    batch = batch_or_404(number)
    form = PurgeForm(posted(request), request.FILES or None, initial={"version": batch.version})
    form.asks_name = needs_full_credentials(request)
    act = Act(
        title=f"Purge {batch.number}",
        sentence="Its rows go for good. The acts stay, and so do the digests of what went. There is no way back but the copy.",
        permission=services.PURGE_RIGHT,
        service=_by_two(form, request, batch),
        arguments=lambda: {
            "batch_id": batch.pk,
            "reason": form.text("reason"),
            "copy": form.cleaned_data["file"],
            "version": form.cleaned_data["version"],
        },
        said=lambda outcome: f"Purged: {outcome.result.batch_number}, as {outcome.result.number}.",
        then=lambda outcome: reverse("retention"),
        back_url=reverse("retention"),
        button=f"Purge {batch.number} for good",
        is_stopping=True,
        template="keeping/purge.html",
    )
    return act_page(
        request,
        form,
        act,
        batch=batch,
        in_the_way=retention.in_the_way(batch.number, timezone.now()),
        going=purging.counted_in_words(batch),
        copies=copies_made(batch.number),
    )


def _by_two(form: PurgeForm, request: HttpRequest, batch: Batch) -> Callable[..., Outcome]:
    """The purge by two people. What stands in its way is said before anybody is asked to prove who they are."""
    about = ("batch", batch.number, f"Batch {batch.number}")

    def act(*, by: By, **arguments: Any) -> Outcome:
        retention.refuse_purge(batch.number, by.at)
        two = prove_two(
            form, request, by, meaning=services.PURGE_MEANING, about=about, permission=services.PURGE_RIGHT
        )
        return services.purge(by=by, together=two, **arguments)

    return act
