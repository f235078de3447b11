"""Acts on a lot in the store of resin, each on its own page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.audit.use_case import Outcome
from regenplant.resins import services
from regenplant.resins.bodies import moves_of, stored_m3
from regenplant.resins.models import ResinLot
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.resin_lots.forms import (
    ConditionedForm,
    CountForm,
    MixForm,
    ScrapStoredForm,
    SplitForm,
    TopUpForm,
)
from regenplant.web.areas.setup.resin_forms import ScrapForm
from regenplant.web.house_form import HouseForm, posted
from regenplant.web.presenters import resin_lots as words
from regenplant.web.requests import unit_system_of

StoreForm = MixForm | TopUpForm | SplitForm | CountForm | ScrapStoredForm
ACT = require_http_methods(["GET", "HEAD", "POST"])


def lot_or_404(code: str) -> ResinLot:
    """The lot with its type."""
    return get_object_or_404(ResinLot.objects.select_related("resin_type"), code=code.upper())


@ACT
def mix(request: HttpRequest, code: str) -> HttpResponse:
    return _in_store(
        request, code, MixForm, services.mix_in_store,
        title="Mix {} with others",
        sentence="Same resin, class and owner only; new resin is conditioned first. The mixture is a lot of its own that knows its shares.",
        said=lambda outcome, lot: f"Written: lot {outcome.result.code} was mixed.", then=_to_result,
    )  # fmt: skip


@ACT
def top_up(request: HttpRequest, code: str) -> HttpResponse:
    return _in_store(
        request, code, TopUpForm, services.top_up_lot,
        title="Top up {}",
        sentence="All that stands of it in the store, topped up with conditioned resin of the same key.",
        said=lambda outcome, lot: f"Written: lot {outcome.result.code} was made by topping up.", then=_to_result,
    )  # fmt: skip


@ACT
def split(request: HttpRequest, code: str) -> HttpResponse:
    return _in_store(
        request, code, SplitForm, services.split_lot,
        title="Split {}",
        sentence="Parts of it become lots of their own, with the same origins.",
        said=lambda outcome, lot: f"Written: {', '.join(one.code for one in outcome.result)} apart from {lot.code}.",
    )  # fmt: skip


@ACT
def count(request: HttpRequest, code: str) -> HttpResponse:
    return _in_store(
        request, code, CountForm, services.count_stored,
        title="Count {} in the store",
        sentence="The book follows the count; the difference is kept with its reason.",
        said=lambda outcome, lot: f"Written: {lot.code} was counted.",
    )  # fmt: skip


@ACT
def conditioned(request: HttpRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    form = ConditionedForm(posted(request), initial=_initial(lot, ConditionedForm))
    return _show(
        request, lot, form, services.condition_lot,
        lambda: {"resin_lot_id": lot.pk, "how": form.text("how"), "version": form.shown_version},
        title=f"{lot.code} was conditioned",
        sentence="New resin gives off what it was made with: backwash, double dose and a long rinse come before it is topped up with. A "
        "batch of the conditioning recipe does it with readings; what it makes needs nothing written here.",
        said=lambda outcome: f"Written: {lot.code} is conditioned.",
    )  # fmt: skip


@ACT
def scrap(request: HttpRequest, code: str) -> HttpResponse:
    """What stands in the store, all or a part; a lot that never stood there goes as a whole."""
    lot = lot_or_404(code)
    if not stored_m3(lot):
        whole = ScrapForm(posted(request))
        return _show(
            request, lot, whole, services.scrap_lot,
            lambda: {"lot_id": lot.pk, "reason": whole.text("reason")},
            title=f"Scrap lot {lot.code}",
            sentence="The body of resin goes out of use for good. Its history stays.",
            said=lambda outcome: f"Written: lot {lot.code} is scrapped.",
            permission="resin.edit", button="Scrap it", is_stopping=True,
        )  # fmt: skip
    return _in_store(
        request, code, ScrapStoredForm, services.scrap_stored,
        title="Scrap resin of {}",
        sentence="All or part of what stands in the store goes out of use for good.",
        said=lambda outcome, lot: f"Written: resin of {lot.code} is scrapped.",
        permission="resin.edit", button="Scrap it", is_stopping=True,
    )  # fmt: skip


def _in_store(
    request: HttpRequest,
    code: str,
    kind: type[StoreForm],
    service: Callable[..., Outcome],
    *,
    title: str,
    said: Callable[[Outcome, ResinLot], str],
    **more: Any,
) -> HttpResponse:
    """An act on what stands of a lot in the store; ``title`` has a place for its code."""
    lot = lot_or_404(code)
    form = kind(posted(request), lot=lot, initial=_initial(lot, kind), system=unit_system_of(request))
    return _show(
        request,
        lot,
        form,
        service,
        form.arguments,
        title=title.format(lot.code),
        said=lambda outcome: said(outcome, lot),
        **more,
    )


def _initial(lot: ResinLot, kind: type[HouseForm]) -> dict[str, Any]:
    own = {"segregation_class": lot.segregation_class} if kind is MixForm else {}
    return {"version": moves_of(lot), **own}


def _to_result(outcome: Outcome) -> str:
    return reverse("setup-lot", kwargs={"code": outcome.result.code})


def _show(
    request: HttpRequest,
    lot: ResinLot,
    form: HouseForm,
    service: Callable[..., Outcome],
    arguments: Callable[[], dict[str, Any]],
    *,
    title: str,
    sentence: str,
    said: Callable[[Outcome], str],
    then: Callable[[Outcome], str] | None = None,
    permission: str = "resin.mix",
    button: str = "Write it down",
    is_stopping: bool = False,
) -> HttpResponse:
    page = reverse("setup-lot", kwargs={"code": lot.code})
    act = Act(
        title=title,
        sentence=sentence,
        permission=permission,
        segregation_class=lot.segregation_class,
        service=service,
        arguments=arguments,
        said=said,
        then=then or (lambda outcome: page),
        back_url=page,
        button=button,
        is_stopping=is_stopping,
        template="resin_lots/rows.html" if getattr(form, "ROWS", ()) else "act.html",
    )
    return act_page(request, form, act, facts=words.stored_rows(lot, unit_system_of(request)))
