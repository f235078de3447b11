"""Filling the tanks of a passed batch: one tank at a time, its shell first, then its volume."""

from __future__ import annotations

from typing import Any, cast

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from regenplant.batches import services
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.selectors import batch_page
from regenplant.tanks.services import record_shell
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.batches.forms import ActForm, AsideForm, FillForm, ShellForm
from regenplant.web.areas.batches.page import batch_or_404
from regenplant.web.house_form import HouseForm
from regenplant.web.presenters import filling as words
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right


@require_safe
def fill(request: HttpRequest, number: str) -> HttpResponse:
    """All tanks of the batch, and the one that is worked on."""
    return _show(request, batch_or_404(number), request.GET.get("tank", ""))


@require_POST
def tank(request: HttpRequest, number: str, serial: str) -> HttpResponse:
    """One act on one tank: its shell, its volume, or that it is set aside."""
    batch = batch_or_404(number)
    link = _link_or_404(batch, serial)
    acts = {"shell": _shell, "fill": _fill, "aside": _aside}
    act = acts.get(request.POST.get("act", ""))
    if act is None:
        raise Http404("There is no such act on a tank.")
    form, sentence = act(request, batch, link)
    if sentence:
        receipt(request, sentence)
        # after its shell was found sound the same tank is filled; else the next one that is open
        stays = act is _shell
        return redirect(
            f"{reverse('batches-fill', args=[batch.number])}{f'?tank={link.visit.tank.serial}' if stays else ''}"
        )
    return _show(request, batch_or_404(number), serial, form)


def _shell(request: HttpRequest, batch: Batch, link: BatchTank) -> tuple[HouseForm, str]:
    form = ShellForm(request.POST)
    if form.is_valid():
        is_sound = form.cleaned_data["shell"] == ShellForm.SOUND
        outcome = try_act(
            form,
            record_shell,
            request,
            visit_id=link.visit_id,
            is_sound=is_sound,
            note=form.text("note"),
            version=form.shown_version,
        )
        if outcome is not None:
            word = "is sound" if is_sound else "is not sound; set it aside"
            return form, f"Written: the shell of {link.visit.tank.serial} {word}."
    return form, ""


def _fill(request: HttpRequest, batch: Batch, link: BatchTank) -> tuple[HouseForm, str]:
    system = unit_system_of(request)
    form = FillForm(request.POST, system=system)
    if form.is_valid():
        volume_m3 = form.needed_quantity("volume")
        outcome = try_act(
            form, services.fill_tank, request, batch_id=batch.pk, visit_id=link.visit_id, volume_m3=volume_m3
        )
        if outcome is not None:
            return form, words.filled_sentence(link.visit.tank.serial, volume_m3, system)
    return form, ""


def _aside(request: HttpRequest, batch: Batch, link: BatchTank) -> tuple[HouseForm, str]:
    form = AsideForm(request.POST)
    if form.is_valid():
        outcome = try_act(
            form,
            services.set_aside_tank,
            request,
            batch_id=batch.pk,
            visit_id=link.visit_id,
            reason=form.text("reason"),
        )
        if outcome is not None:
            return form, f"Written: {link.visit.tank.serial} is set aside."
    return form, ""


@require_POST
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """All tanks are filled or set aside: the batch waits for its release, the vessel is free."""
    batch = batch_or_404(number)
    form = ActForm(request.POST)
    if form.is_valid():
        outcome = try_act(
            form, services.finish_filling, request, batch_id=batch.pk, version=form.shown_version
        )
        if outcome is not None:
            receipt(
                request,
                f"Written: {batch.number} is filled and waits for its release; {batch.vessel.code} is free.",
            )
            return redirect("batches-detail", batch.number)
    return _show(request, batch_or_404(number), "", status=refused_status(form), refusals=form.sentences)


def _link_or_404(batch: Batch, serial: str) -> BatchTank:
    found = (
        batch.tank_links.filter(is_current=True, visit__tank__serial__iexact=serial)
        .select_related("visit__tank__size")
        .first()
    )
    if found is None:
        raise Http404(f"{serial} is no tank of batch {batch.number}.")
    return found


def _show(
    request: HttpRequest,
    batch: Batch,
    serial: str,
    refused: HouseForm | None = None,
    *,
    status: int | None = None,
    refusals: list[str] | None = None,
) -> HttpResponse:
    """The page; ``refused`` is the form that came back, the others are as first shown."""
    page, system = batch_page(batch, by=by_of(request)), unit_system_of(request)
    view = words.filling_view(page, serial, system)
    if refused is not None and not _is_shown(refused, view, serial):
        refusals = [*(refusals or []), *(str(one) for errors in refused.errors.values() for one in errors)]
    version = {"version": view.tank.version if view.tank else None}
    if isinstance(refused, ShellForm) and view.tank is not None:
        data = cast(QueryDict, refused.data).copy()
        data["version"] = str(view.tank.version)
        refused.data = data
    context: dict[str, Any] = {
        "batch": batch,
        "view": view,
        "shell_form": refused if isinstance(refused, ShellForm) else ShellForm(initial=version),
        "fill_form": refused if isinstance(refused, FillForm) else FillForm(system=system),
        "aside_form": refused if isinstance(refused, AsideForm) else AsideForm(),
        "act_form": ActForm(initial={"version": batch.version}),
        "refusals": refusals or [],
        "running": right(request, "batch.run", batch.segregation_class),
    }
    code = status or (refused_status(refused) if refused is not None else 200)
    return render(request, "batches/fill.html", context, status=code)


def _is_shown(form: HouseForm, view: words.FillingView, serial: str) -> bool:
    """Whether the page as it stands now still has the form that came back: the tank may have moved on."""
    if view.tank is None or view.tank.serial != serial.upper():
        return False
    asks_for = {None: ShellForm, True: FillForm}.get(view.tank.is_shell_sound)
    return isinstance(form, AsideForm) or (asks_for is not None and isinstance(form, asks_for))
