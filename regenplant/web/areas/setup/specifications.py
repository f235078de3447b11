"""Specifications: list, versions, comparison, drafting and approval by another person."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.core.process import specification as core
from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.recipes import selectors, services
from regenplant.recipes.models import Specification, SpecificationVersion
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.setup import versions
from regenplant.web.areas.setup.recipes import NewRecipeForm
from regenplant.web.areas.setup.shown import NONE, both
from regenplant.web.areas.setup.specification_form import SpecificationForm
from regenplant.web.house_form import HouseForm, posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def specification_list(request: HttpRequest) -> HttpResponse:
    things = list(selectors.specifications())
    context = {
        "title": "Specifications",
        "noun": "specification",
        "things": [_listed(thing) for thing in versions.of_family(request, things)],
        "filters": [("Family", versions.family_chips(request, things))],
        "sentence": versions.list_sentence("specification", things),
        "add_url": reverse("setup-specification-new"),
        "edit": right(request, "recipe.edit"),
    }
    return render(request, "setup/versioned_list.html", context)


def _listed(thing: Specification) -> dict[str, Any]:
    newest = next(iter(thing.versions.all()), None)
    state, word = versions.mark_of(newest) if newest else ("waiting", "No version")
    return {
        "url": _page(thing.code),
        "code": thing.code,
        "name": thing.name,
        "family": ResinFamily(thing.family).abbreviation,
        "version": newest.number if newest else 0,
        "state": state,
        "word": word,
    }


def _page(code: str, number: int | None = None) -> str:
    if number is None:
        return reverse("setup-specification", kwargs={"code": code})
    return reverse("setup-specification-version", kwargs={"code": code, "number": number})


def _thing(code: str) -> Specification:
    return get_object_or_404(selectors.specifications(), code=code.upper())


def _version(thing: Specification, number: int) -> SpecificationVersion:
    found = next((version for version in thing.versions.all() if version.number == number), None)
    if found is None:
        raise Http404(f"{thing.code} has no version {number}.")
    return found


@require_safe
def specification_page(request: HttpRequest, code: str) -> HttpResponse:
    """The newest version; the others are listed beside it."""
    thing = _thing(code)
    newest = next(iter(thing.versions.all()), None)
    if newest is None:
        raise Http404(f"{thing.code} has no version.")
    return version_page(request, code, newest.number)


@require_safe
def version_page(request: HttpRequest, code: str, number: int) -> HttpResponse:
    thing = _thing(code)
    version, system = _version(thing, number), unit_system_of(request)
    definition = selectors.specification_definition(version)
    earlier = next((other for other in thing.versions.all() if other.number == number - 1), None)
    changes = (
        selectors.specification_differences(selectors.specification_definition(earlier), definition)
        if earlier
        else ()
    )
    context = {
        "specification": thing,
        "heading": f"{thing.code}, version {number}",
        "version": version,
        "versions": list(thing.versions.all()),
        "mark": versions.mark_of(version),
        "sentence": versions.version_sentence(version),
        "limits": [(limit.name, versions.limit_words(limit, system)) for limit in definition.limits],
        "rinse": _rinse_rows(definition, system),
        "notes": definition.notes,
        "earlier": earlier,
        "changes": versions.difference_rows(changes, system),
        "is_intact": selectors.is_intact(version),
        "is_own": version.made_by_id == request.user.pk,
        "edit": right(request, "recipe.edit"),
        "approve": right(request, "recipe.approve"),
        "story": story([("specification", str(thing.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/specification.html", context)


def _rinse_rows(definition: core.Specification, system: str) -> list[tuple[str, str]]:
    return [
        ("Least rinse", both(definition.minimum_rinse_bv, "bed_volumes", system)),
        (
            "Most rinse",
            both(definition.maximum_rinse_bv, "bed_volumes", system) if definition.maximum_rinse_bv else NONE,
        ),
        ("Hold time", both(definition.hold_time_s, "duration", system)),
        ("Consecutive readings", str(definition.consecutive_readings)),
        ("Longest gap between readings", both(definition.longest_gap_s, "duration", system)),
        ("Trace in the water", definition.compensation.value),
        ("Stated uncertainty of the meter", both(definition.meter_uncertainty_frac, "fraction", system)),
    ]


@require_safe
def compare(request: HttpRequest, code: str) -> HttpResponse:
    thing = _thing(code)
    listed = list(thing.versions.all())
    initial = {"new": listed[0].number, "old": listed[min(1, len(listed) - 1)].number} if listed else {}
    form = versions.CompareForm(request.GET or None, versions=listed, initial=initial)
    changes = None
    if form.is_valid():
        old, new = (
            selectors.specification_definition(_version(thing, form.cleaned_data[name]))
            for name in ("old", "new")
        )
        changes = versions.difference_rows(
            selectors.specification_differences(old, new), unit_system_of(request)
        )
    context = {"code": thing.code, "form": form, "changes": changes, "back_url": _page(thing.code)}
    return render(request, "setup/compare.html", context)


# --- drafting -------------------------------------------------------------------------------------------------------
def _starting_points() -> dict[str, core.Specification]:
    found = {
        thing.code: selectors.specification_definition(newest)
        for thing in selectors.specifications()
        if (newest := next(iter(thing.versions.all()), None)) is not None
    }
    return {**{definition.code: definition for definition in default_specifications()}, **found}


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    points = _starting_points()
    base = points.get(request.GET.get("from", ""))
    if base is None:
        rows = [(f"?from={code}", code, one.name, one.family.abbreviation) for code, one in points.items()]
        context = {"noun": "specification", "rows": rows, "back_url": reverse("setup-specifications")}
        return render(request, "setup/begin.html", context)
    head = NewRecipeForm(posted(request))
    form = SpecificationForm(posted(request), base=base, system=unit_system_of(request))
    if request.method == "POST" and all([head.is_valid(), form.is_valid()]):
        definition = form.definition(head.text("code").upper())
        outcome = definition and try_act(
            form, services.add_specification, request, code=head.text("code"), name=form.text("name"),
            family=base.family.value, grade=head.text("grade"), definition=definition, reason=form.text("reason"),
        )  # fmt: skip
        if outcome:
            receipt(request, f"Written: specification {outcome.subject[2]}, version 1 as a draft.")
            return redirect(_page(outcome.subject[2]))
    sentence = f"Begun with {base.code}: {base.family.label}."
    return _form_page(
        request,
        form,
        head=head,
        title="New specification",
        back_url=reverse("setup-specifications"),
        sentence=sentence,
    )


@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, code: str) -> HttpResponse:
    thing = _thing(code)
    source = next(iter(thing.versions.all()))
    form = SpecificationForm(
        posted(request), base=selectors.specification_definition(source), system=unit_system_of(request)
    )
    if request.method == "POST" and form.is_valid():
        definition = form.definition(thing.code)
        outcome = definition and try_act(
            form, services.draft_specification_version, request, specification_id=thing.pk, definition=definition,
            reason=form.text("reason"),
        )  # fmt: skip
        if outcome:
            receipt(request, f"Written: version {outcome.result.number} of {thing.code} as a draft.")
            return redirect(_page(thing.code, outcome.result.number))
    sentence = f"Begun with version {source.number}. It becomes a draft, and another person approves it."
    return _form_page(
        request, form, title=f"Next version of {thing.code}", back_url=_page(thing.code), sentence=sentence
    )


def _form_page(
    request: HttpRequest,
    form: SpecificationForm,
    *,
    title: str,
    sentence: str,
    back_url: str,
    head: HouseForm | None = None,
) -> HttpResponse:
    context = {
        "form": form,
        "head": head,
        "title": title,
        "sentence": sentence,
        "back_url": back_url,
        "right": right(request, "recipe.edit"),
    }
    bad = form.errors or (head is not None and head.errors)
    return render(
        request, "setup/specification_form.html", context, status=refused_status(form) if bad else 200
    )


# --- approval -------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, code: str, number: int) -> HttpResponse:
    thing = _thing(code)
    version = _version(thing, number)
    form = versions.ApproveForm(posted(request))
    act = Act(
        title=f"Approve {thing.code} version {number}",
        sentence=versions.version_sentence(version),
        permission="recipe.approve",
        service=services.approve_specification_version,
        arguments=lambda: {"version_id": version.pk, "effective_from": form.cleaned_data["effective_from"]},
        said=lambda outcome: f"Written: {thing.code} version {number} is approved.",
        then=lambda outcome: _page(thing.code, number),
        back_url=_page(thing.code, number),
        button="Approve it",
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, code: str, number: int) -> HttpResponse:
    thing = _thing(code)
    version = _version(thing, number)
    form = versions.WithdrawForm(posted(request))
    act = Act(
        title=f"Withdraw {thing.code} version {number}",
        sentence="No new batch is judged by it from now on. Batches that run under it keep it.",
        permission="recipe.approve",
        service=services.withdraw_specification_version,
        arguments=lambda: {"version_id": version.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: {thing.code} version {number} is withdrawn.",
        then=lambda outcome: _page(thing.code, number),
        back_url=_page(thing.code, number),
        button="Withdraw it",
        is_stopping=True,
    )
    return act_page(request, form, act)
