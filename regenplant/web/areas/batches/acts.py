"""Acts with a reason, each on its own full page: stopping and going on, ending for good, deviations."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.batches import services
from regenplant.batches.failures import rework_needs
from regenplant.batches.models import Batch
from regenplant.batches.selectors import OfferedRecipe, anion_vessels_for, batch_page, offered_recipes
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.signing import needs_full_credentials
from regenplant.quality.models import decision_of
from regenplant.quality.ways import fitting_recipes
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.batches.forms import DeviationForm, ReasonForm, ReworkForm, ReworkTogetherForm
from regenplant.web.areas.batches.page import batch_or_404
from regenplant.web.areas.batches.steps import TEMPLATE, happening
from regenplant.web.presenters import batch as words
from regenplant.web.presenters.batch_acts import why_not
from regenplant.web.presenters.bed import vessels_words
from regenplant.web.presenters.start import recipe_label
from regenplant.web.presenters.words import sentence_case
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import Right
from regenplant.web.signing import prove_two

ACT = require_http_methods(["GET", "HEAD", "POST"])


@ACT
def hold(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_or_404(number)
    body = "the carbon" if ResinFamily(batch.resin_type.family).is_exchanged else "the bed"
    form = ReasonForm(
        request.POST or None, label="Why it stands still", with_time=True, initial={"version": batch.version}
    )
    act = Act(
        title=f"Hold {batch.number}",
        sentence=f"{sentence_case(body)} stands in water until somebody goes on. Nothing is ever held with a chemical in it.",
        permission="batch.hold",
        segregation_class=batch.segregation_class,
        service=_at(form, services.hold_batch),
        arguments=lambda: _with_reason(batch, form),
        said=lambda outcome: f"Written: {batch.number} is held.",
        then=lambda outcome: _page_of(batch),
        back_url=_page_of(batch),
        button="Hold this batch",
        is_stopping=True,
        template=TEMPLATE,
    )
    return _show(request, batch, form, act, "hold")


@ACT
def interrupt(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_or_404(number)
    form = ReasonForm(
        request.POST or None, label="What stopped it", with_time=True, initial={"version": batch.version}
    )
    act = Act(
        title=f"{batch.number} stopped by itself",
        sentence="For a power dip, a pump trip, a burst hose. It is written down as held, and a critical deviation is opened.",
        permission="batch.hold",
        segregation_class=batch.segregation_class,
        service=_at(form, services.interrupt_batch),
        arguments=lambda: _with_reason(batch, form),
        said=lambda outcome: f"Written: {batch.number} stopped. A critical deviation is open.",
        then=lambda outcome: _page_of(batch),
        back_url=_page_of(batch),
        button="It stopped",
        is_stopping=True,
        template=TEMPLATE,
    )
    return _show(request, batch, form, act, "interrupt")


@ACT
def resume(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_or_404(number)
    is_carbon = ResinFamily(batch.resin_type.family).is_exchanged
    what = "the tanks, the hoses and the valves" if is_carbon else "the bed, the valves and the skid"
    form = ReasonForm(
        request.POST or None, name="note", label="What was put right", initial={"version": batch.version}
    )
    act = Act(
        title=f"Go on with {batch.number}",
        sentence=f"Look at {what} before anything flows again.",
        permission="batch.run",
        segregation_class=batch.segregation_class,
        service=services.resume_batch,
        arguments=lambda: _with_reason(batch, form),
        said=lambda outcome: f"Written: {batch.number} goes on.",
        then=lambda outcome: _page_of(batch),
        back_url=_page_of(batch),
        button="Go on",
        template=TEMPLATE,
    )
    return _show(request, batch, form, act, "resume")


@ACT
def abort(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_or_404(number)
    form = ReasonForm(request.POST or None, label="Why it is aborted", initial={"version": batch.version})
    tail = (
        "what is in the vessel is then reworked or scrapped."
        if batch.started_at
        else "its tanks go back to the waiting list."
    )
    act = Act(
        title=f"Abort {batch.number}",
        sentence=f"It ends for good; {tail}",
        permission="batch.abort",
        segregation_class=batch.segregation_class,
        service=services.abort_batch,
        arguments=lambda: _with_reason(batch, form),
        said=lambda outcome: f"Written: {batch.number} is aborted.",
        then=lambda outcome: _page_of(batch),
        back_url=_page_of(batch),
        button="Abort this batch",
        is_stopping=True,
        template=TEMPLATE,
    )
    return _show(request, batch, form, act, "abort")


@ACT
def scrap(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_or_404(number)
    body = "carbon" if ResinFamily(batch.resin_type.family).is_exchanged else "resin"
    form = ReasonForm(
        request.POST or None, label=f"Why the {body} is scrapped", initial={"version": batch.version}
    )
    act = Act(
        title=f"Scrap the {body} of {batch.number}",
        sentence=f"The {body} is thrown away and its empty tanks are set aside. Disposal follows local codes.",
        permission="batch.scrap",
        segregation_class=batch.segregation_class,
        service=services.scrap_batch,
        arguments=lambda: _with_reason(batch, form),
        said=lambda outcome: f"Written: the {body} of {batch.number} is scrapped.",
        then=lambda outcome: _page_of(batch),
        back_url=_page_of(batch),
        button=f"Scrap the {body}",
        is_stopping=True,
        template=TEMPLATE,
    )
    return _show(request, batch, form, act, "scrap")


@ACT
def rework(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_or_404(number)
    offered = offered_recipes(batch.resin_type, batch.vessel, timezone.now())
    fits = {version.pk: why for version, why in fitting_recipes(batch, [one.version for one in offered])}
    offered = tuple(sorted(offered, key=lambda one: (not one.can_run, one.version.pk not in fits)))
    family, needs = ResinFamily(batch.resin_type.family), rework_needs(batch)
    form = (ReworkTogetherForm if needs.needs_two_people else ReworkForm)(
        request.POST or None,
        needs=needs,
        recipes=[(str(one.version.pk), _recipe_words(one, fits.get(one.version.pk, ""))) for one in offered],
        anion_vessels=_anion_vessels(batch) if family.is_mixed else (),
        recipe_before=batch.recipe_version_id,
        initial={"version": batch.version},
    )
    service: Callable[..., Outcome] = services.plan_rework
    if isinstance(form, ReworkTogetherForm):
        form.asks_name = needs_full_credentials(request)
        service = _by_two(form, request, batch)
    again = "The carbon is worked" if family.is_exchanged else "The same resin is regenerated"
    act = Act(
        title=f"Rework {batch.number}",
        sentence=f"{again} again in {vessels_words(batch)} as a batch of its own. {batch.number} stays as it is. {needs.sentence} {_proposed(batch, has_recipe=bool(fits))}".strip(),
        permission="batch.rework",
        segregation_class=batch.segregation_class,
        service=service,
        arguments=lambda: {
            "batch_id": batch.pk,
            "recipe_version_id": int(form.cleaned_data["recipe"]),
            "cause": form.text("cause"),
            "anion_vessel_id": form.anion_vessel_id,
            "cause_category": form.cleaned_data["cause_category"],
            "same_recipe_reason": form.text("same_recipe_reason"),
            "version": form.version_seen(batch.version),
        },
        said=lambda outcome: f"Written: {outcome.result.number} reworks {batch.number}; its plan is frozen.",
        then=lambda outcome: _page_of(outcome.result),
        back_url=_page_of(batch),
        button="Sign, both, and plan the rework" if needs.needs_two_people else "Plan the rework",
        template="batches/rework_together.html" if needs.needs_two_people else TEMPLATE,
    )
    return _show(request, batch, form, act, "rework")


def _proposed(batch: Batch, *, has_recipe: bool) -> str:
    """What QC proposed when it failed the batch, and where no recipe in use does that, that none does; "" for nothing."""
    found = getattr(decision_of(batch), "rework_proposal", None)
    if found is None:
        return ""
    none = "" if has_recipe else " No recipe in use does that: choose the nearest, or have one written."
    return f"QC proposes: {found}. First: {found.next_test}{none}"


def _by_two(form: ReworkTogetherForm, request: HttpRequest, batch: Batch) -> Callable[..., Outcome]:
    """The rework as planned by two people, each proven before the act begins."""
    about = ("batch", batch.number, f"Batch {batch.number}")

    def act(*, by: By, **arguments: Any) -> Outcome:
        two = prove_two(
            form,
            request,
            by,
            meaning=services.REWORK_MEANING,
            about=about,
            permission=services.SECOND_RIGHT,
            segregation_class=batch.segregation_class,
        )
        return services.plan_rework(by=by, together=two, **arguments)

    return act


def _recipe_words(offered: OfferedRecipe, why: str = "") -> str:
    """ "H-HCL-100 version 1, Cation by hydrochloric acid", with why it is what QC proposes and what stands against it in this vessel."""
    version = offered.version
    name = f"{recipe_label(version)}, {version.recipe.name}{f'; as QC proposes: {why}' if why else ''}"
    return " ".join([name if offered.can_run else f"{name}. Cannot run:", *offered.reasons_against])


def _anion_vessels(batch: Batch) -> list[tuple[str, str]]:
    """Other vessels for the anion leg of a rework."""
    found = anion_vessels_for(batch.resin_type, batch.segregation_class, except_for=batch.vessel)
    return [(str(one.vessel.pk), f"{one.vessel.code}, free") for one in found if one.may_start]


@ACT
def deviation(request: HttpRequest, number: str) -> HttpResponse:
    """Write down something that was not as planned."""
    batch = batch_or_404(number)
    form = DeviationForm(request.POST or None, initial={"version": batch.version})
    act = Act(
        title=f"A deviation of {batch.number}",
        sentence="It stays open until a supervisor decides, and the batch is not released before that.",
        permission="deviation.open",
        segregation_class=batch.segregation_class,
        service=services.open_deviation,
        arguments=lambda: {
            "batch_id": batch.pk,
            "what": form.text("what"),
            "severity": form.cleaned_data["severity"],
        },
        said=lambda outcome: f"Written: {outcome.result.number} is open.",
        then=lambda outcome: _page_of(batch),
        back_url=_page_of(batch),
        template=TEMPLATE,
    )
    return act_page(request, form, act)


def _page_of(batch: Batch) -> str:
    return reverse("batches-detail", args=[batch.number])


def _with_reason(batch: Batch, form: ReasonForm) -> dict[str, Any]:
    return {
        "batch_id": batch.pk,
        form.asked: form.text(form.asked),
        "version": form.version_seen(batch.version),
    }


def _at(form: ReasonForm, service: Callable[..., Outcome]) -> Callable[..., Outcome]:
    """The service at the time on the form, which is read when it acts: the form is clean only then."""

    def act(**arguments: Any) -> Outcome:
        return happening(service, form.cleaned_data.get("occurred_at"), form.late)(**arguments)

    return act


def _show(request: HttpRequest, batch: Batch, form: Any, act: Act, action: str) -> HttpResponse:
    """The page of an act that moves the batch, with why it is closed, if it is, and where the batch stands."""
    page = batch_page(batch, by=by_of(request))
    offer = page.offer(action)
    closed = (
        why_not(offer) if offer else f"{batch.number} is {batch.get_state_display()}; this act does not fit."
    )
    facts = words.act_facts(page, timezone.now(), unit_system_of(request))
    context: dict[str, Any] = {"closed": closed, "facts": facts, "batch": batch}
    if closed:
        context["right"] = Right(False, "It is not possible now. The sentence above says why.")
        other = page.offer("interrupt") if action == "hold" else None
        context["is_interruptible"] = other is not None and other.is_open
    return act_page(request, form, act, **context)
