"""Views of the shift handover."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.errors import DomainError
from regenplant.shifts import services
from regenplant.shifts.live import live_state
from regenplant.shifts.models import Handover, HandoverItem
from regenplant.shifts.selectors import (
    changed_since,
    closed_since,
    handover_numbered,
    handovers,
    newest_handover,
    open_items,
    signed_content,
    waiting_handover,
)
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import attach, receipt, refused_status
from regenplant.web.areas.handover.forms import CloseItemForm, HandOverForm, ItemForm, TakeForm, TakeHereForm
from regenplant.web.context import plant_of
from regenplant.web.house_form import posted
from regenplant.web.presenters import handover as words
from regenplant.web.presenters.words import short_digest
from regenplant.web.requests import by_of, person_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, second_person, sign

RIGHT = "shift.hand_over"
PER_PAGE = 30
SHOWN_PAST = 5


# --- the live draft ---------------------------------------------------------------------------------------------------
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, tab: str) -> HttpResponse:
    """The state as it is now, with the open items; a POST signs it."""
    form = HandOverForm(posted(request), initial={"version": 1})
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.hand_over,
            meaning=services.HANDED_MEANING,
            about=("handover", "next", "Handover"),
            shown=form.text("shown"),
            notes=form.text("notes"),
        )
        if outcome is not None:
            made: Handover = outcome.result
            receipt(
                request,
                f"Signed: {made.number} waits to be taken over. Digest {short_digest(made.signature.digest)}.",
            )
            return redirect("handover-one", made.number)
    return _draft_page(request, form)


def _draft_page(request: HttpRequest, form: HandOverForm) -> HttpResponse:
    now = timezone.now()
    state, newest, waiting = live_state(now, plant_of(request)), newest_handover(), waiting_handover()
    items = list(open_items())
    form.fields["shown"].initial = state.mark
    form.show_again(state.mark)
    may, person = right(request, RIGHT), person_of(request)
    refused = may.reason
    if waiting is not None:
        refused = f"{waiting.number} of {waiting.handed_by.full_name} waits to be taken over first."
    context = {
        "sentence": words.draft_sentence(state, len(items), newest, now),
        "sections": words.section_rows(state),
        "items": words.item_rows(items, now),
        "closed": closed_since(newest.handed_at if newest else None)[:PER_PAGE],
        "waiting": waiting,
        "may": may,
        "refused": refused,
        "form": form,
        "meaning": services.HANDED_MEANING,
        "person": person,
        "now": now,
        "past": handovers()[:SHOWN_PAST],
    }
    return render(
        request, "handover/draft.html", context, status=refused_status(form) if form.errors else 200
    )


# --- one handover -------------------------------------------------------------------------------------------------------
@never_cache
@sensitive_post_parameters("password", "second_password")
@require_http_methods(["GET", "HEAD", "POST"])
def one(request: HttpRequest, tab: str, number: str) -> HttpResponse:
    """One handover as signed; a POST takes it over: at one's own terminal, or as second person at the leaving one's."""
    handover = _handover_or_404(number)
    is_own = handover.handed_by_id == person_of(request).pk
    kind = TakeHereForm if is_own else TakeForm
    form = kind(
        posted(request),
        look_first=signed_content(handover).state.look_first,
        initial={"version": handover.version},
    )
    if request.method == "POST" and is_whole(form, request):
        taken = (
            _take_here(request, form, handover)
            if isinstance(form, TakeHereForm)
            else _take(request, form, handover)
        )
        if taken:
            receipt(request, f"Signed: {handover.number} is taken over.")
            return redirect("handover-one", handover.number)
    return _one_page(request, _handover_or_404(handover.number), form, is_own=is_own)


def _take(request: HttpRequest, form: TakeForm, handover: Handover) -> bool:
    outcome = sign(
        form,
        request,
        services.take_over,
        meaning=services.TAKEN_MEANING,
        about=("handover", handover.number, f"Handover {handover.number}"),
        handover_id=handover.pk,
        has_seen=form.has_looked,
        remarks=form.text("remarks"),
        version=form.shown_version,
    )
    return outcome is not None


def _take_here(request: HttpRequest, form: TakeHereForm, handover: Handover) -> bool:
    proven = second_person(
        form,
        request,
        meaning=services.TAKEN_MEANING,
        about=("handover", handover.number, f"Handover {handover.number}"),
        permission=RIGHT,
    )
    if proven is None:
        return False
    person, permit = proven
    try:
        services.take_over(
            by=replace(by_of(request), user=person, at=permit.proven_at),
            handover_id=handover.pk,
            permit=permit,
            has_seen=form.has_looked,
            remarks=form.text("remarks"),
            version=form.shown_version,
        )
    except DomainError as refusal:
        attach(form, refusal)
        return False
    return True


def _one_page(request: HttpRequest, handover: Handover, form: Any, *, is_own: bool) -> HttpResponse:
    now, signed = timezone.now(), signed_content(handover)
    is_waiting = handover.state == Handover.State.SIGNED
    changed = changed_since(signed.state, live_state(now, plant_of(request))) if is_waiting else None
    context = {
        "handover": handover,
        "sentence": words.handover_sentence(handover, signed.state, now),
        "sections": words.section_rows(signed.state),
        "items": words.signed_item_rows(signed.items, now),
        "notes": signed.notes,
        "new": [words.line_row(line) for line in changed.new] if changed else [],
        "gone": [words.line_row(line) for line in changed.gone] if changed else [],
        "is_waiting": is_waiting,
        "is_own": is_own,
        "form": form,
        "may": right(request, RIGHT),
        "meaning": services.TAKEN_MEANING,
        "person": person_of(request),
        "now": now,
    }
    return render(request, "handover/one.html", context, status=refused_status(form) if form.errors else 200)


def _handover_or_404(number: str) -> Handover:
    found = handover_numbered(number) if number.isprintable() else None
    if found is None:
        raise Http404(f"There is no handover {number[:24]}.")
    return found


@require_safe
def past(request: HttpRequest, tab: str) -> HttpResponse:
    """All handovers, newest first."""
    page = Paginator(handovers(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "handover/past.html", {"page": page})


# --- open items -----------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def new_item(request: HttpRequest, tab: str) -> HttpResponse:
    form = ItemForm(posted(request))
    act = Act(
        title="Open an item",
        sentence="It stands in every handover until somebody closes it.",
        permission=RIGHT,
        service=services.open_item,
        arguments=lambda: {
            "kind": form.text("kind"),
            "words": form.text("words"),
            "about": form.text("about"),
        },
        said=lambda outcome: "Written: the item carries on until it is closed.",
        then=lambda outcome: reverse("handover"),
        back_url=reverse("handover"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def close_item(request: HttpRequest, tab: str, item_id: int) -> HttpResponse:
    item = get_object_or_404(HandoverItem.objects.select_related("opened_by"), pk=min(item_id, 2**62))
    form = CloseItemForm(posted(request), initial={"version": item.version})
    act = Act(
        title="Close an item",
        sentence=item.words,
        permission=RIGHT,
        service=services.close_item,
        arguments=lambda: {"item_id": item.pk, "words": form.text("words"), "version": form.shown_version},
        said=lambda outcome: "Written: the item is closed.",
        then=lambda outcome: reverse("handover"),
        back_url=reverse("handover"),
        button="Close it",
    )
    facts = [("Opened by", f"{item.opened_by.full_name}"), ("About", item.about or "nothing with a code")]
    return act_page(request, form, act, facts=facts)


__all__ = ["close_item", "draft", "new_item", "one", "past"]
