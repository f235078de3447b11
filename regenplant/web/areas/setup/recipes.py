"""Recipes: list, versions step by step, comparison, drafting and approval by another person."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.audit.selectors import story
from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.recipes import RECIPE_LIMITS, RecipeDefinition
from regenplant.core.process.vocabulary import Leg, Purpose, ResinFamily, StepKind
from regenplant.recipes import selectors, services
from regenplant.recipes.models import Recipe, RecipeVersion
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.setup import versions
from regenplant.web.areas.setup.recipe_form import RecipeForm, initial_of, kinds_from, with_step_put_in
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.listing import chips
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def recipe_list(request: HttpRequest) -> HttpResponse:
    recipes = list(selectors.recipes())
    purposes = [purpose.value for recipe in recipes if (purpose := _purpose(recipe)) is not None]
    wanted = request.GET.get("purpose", "")
    shown = versions.of_family(request, recipes)
    context = {
        "title": "Recipes",
        "noun": "recipe",
        "things": [_listed(one) for one in shown if not wanted or _purpose(one) == wanted],
        "filters": [
            ("Family", versions.family_chips(request, recipes)),
            (
                "What it is for",
                chips(
                    request,
                    "purpose",
                    [(one.value, one.label) for one in Purpose if one.value in purposes],
                    "Every purpose",
                ),
            ),
        ],
        "sentence": versions.list_sentence("recipe", recipes),
        "add_url": reverse("setup-recipe-new"),
        "edit": right(request, "recipe.edit"),
    }
    return render(request, "setup/versioned_list.html", context)


def _purpose(recipe: Recipe) -> Purpose | None:
    """What the newest version is for; None without a version."""
    newest = next(iter(recipe.versions.all()), None)
    return selectors.purpose_of(newest) if newest else None


def _listed(recipe: Recipe) -> dict[str, Any]:
    newest = next(iter(recipe.versions.all()), None)
    purpose = _purpose(recipe)
    state, word = versions.mark_of(newest) if newest else ("waiting", "No version")
    return {
        "url": _page(recipe.code),
        "code": recipe.code,
        "name": recipe.name,
        "family": ResinFamily(recipe.family).abbreviation
        + (f" · {purpose.value}" if purpose not in (None, Purpose.REGENERATION) else ""),
        "version": newest.number if newest else 0,
        "state": state,
        "word": word,
    }


def _page(code: str, number: int | None = None) -> str:
    if number is None:
        return reverse("setup-recipe", kwargs={"code": code})
    return reverse("setup-recipe-version", kwargs={"code": code, "number": number})


def _recipe(code: str) -> Recipe:
    return get_object_or_404(selectors.recipes(), code=code.upper())


def _version(recipe: Recipe, number: int) -> RecipeVersion:
    found = next((version for version in recipe.versions.all() if version.number == number), None)
    if found is None:
        raise Http404(f"{recipe.code} has no version {number}.")
    return found


@require_safe
def recipe_page(request: HttpRequest, code: str) -> HttpResponse:
    """The newest version; the others are listed beside it."""
    recipe = _recipe(code)
    newest = next(iter(recipe.versions.all()), None)
    if newest is None:
        raise Http404(f"{recipe.code} has no version.")
    return version_page(request, code, newest.number)


@require_safe
def version_page(request: HttpRequest, code: str, number: int) -> HttpResponse:
    recipe = _recipe(code)
    version, system = _version(recipe, number), unit_system_of(request)
    definition = selectors.recipe_definition(version)
    earlier = next((other for other in recipe.versions.all() if other.number == number - 1), None)
    changes = (
        selectors.recipe_differences(selectors.recipe_definition(earlier), definition) if earlier else ()
    )
    context = {
        "recipe": recipe,
        "heading": f"{recipe.code}, version {number}",
        "version": version,
        "versions": list(recipe.versions.all()),
        "mark": versions.mark_of(version),
        "sentence": versions.version_sentence(version),
        "steps": [_step_shown(index, step, system) for index, step in enumerate(definition.steps, start=1)],
        "notes": definition.notes,
        "facts": _facts(definition, system),
        "earlier": earlier,
        "changes": versions.difference_rows(changes, system),
        "is_intact": selectors.is_intact(version),
        "is_own": version.made_by_id == request.user.pk,
        "edit": right(request, "recipe.edit"),
        "approve": right(request, "recipe.approve"),
        "story": story([("recipe", str(recipe.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/recipe.html", context)


def _facts(definition: RecipeDefinition, system: str) -> list[tuple[str, str]]:
    """What the recipe is for, how its legs run, which resin it takes, and its own limits."""
    found = [("Purpose", definition.purpose.label)]
    if definition.family.is_mixed:
        found.append(("Legs", definition.arrangement.label))
    if definition.grades:
        found.append(("Only for grade", ", ".join(definition.grades)))
    found += [
        (label, units.twin(definition.limits[key], kind, system))
        for key, (label, kind) in RECIPE_LIMITS.items()
        if key in definition.limits
    ]
    return found


def _step_shown(number: int, step: Any, system: str) -> dict[str, Any]:
    rows = []
    for key, (kind, name) in selectors.SETTING_KINDS.items():
        point = step.settings.get(key)
        if point is not None:
            rows.append(
                (
                    name,
                    versions.point_text(point, kind, system),
                    versions.range_text(point.low, point.high, kind, system),
                )
            )
    words = [
        step.leg.label if step.leg is not Leg.WHOLE else "",
        step.chemical.label if step.chemical else "",
        step.water.label if step.water else "",
    ]
    return {
        "number": number,
        "name": step.name,
        "kind": step.kind.label,
        "with": ", ".join(filter(None, words)),
        "ends_when": step.ends_when,
        "is_safe_hold_after": step.is_safe_hold_after,
        "rows": rows,
    }


@require_safe
def compare(request: HttpRequest, code: str) -> HttpResponse:
    recipe = _recipe(code)
    listed = list(recipe.versions.all())
    form = versions.CompareForm(request.GET or None, versions=listed, initial=_last_two(listed))
    changes = None
    if form.is_valid():
        old, new = (
            selectors.recipe_definition(_version(recipe, form.cleaned_data[name])) for name in ("old", "new")
        )
        changes = versions.difference_rows(selectors.recipe_differences(old, new), unit_system_of(request))
    context = {"code": recipe.code, "form": form, "changes": changes, "back_url": _page(recipe.code)}
    return render(request, "setup/compare.html", context)


def _last_two(listed: list[RecipeVersion]) -> dict[str, int]:
    return {"new": listed[0].number, "old": listed[min(1, len(listed) - 1)].number} if listed else {}


# --- drafting -------------------------------------------------------------------------------------------------------
class NewRecipeForm(HouseForm):
    code = words_field(16, label="Code", help_text="Capitals, digits and hyphens, for example H-HCL-100.")
    grade = words_field(20, label="Grade", initial="working", help_text="Which pool it serves.")


def _starting_points() -> dict[str, RecipeDefinition]:
    """What a new recipe may begin with: the newest version of each recipe, then the house's own."""
    found = {
        recipe.code: selectors.recipe_definition(newest)
        for recipe in selectors.recipes()
        if (newest := next(iter(recipe.versions.all()), None)) is not None
    }
    return {**{definition.code: definition for definition in default_recipes()}, **found}


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    points = _starting_points()
    base = points.get(request.GET.get("from", ""))
    if base is None:
        rows = [
            (f"?from={code}", code, definition.name, definition.family.abbreviation)
            for code, definition in points.items()
        ]
        return render(
            request,
            "setup/begin.html",
            {"noun": "recipe", "rows": rows, "back_url": reverse("setup-recipes")},
        )
    head = NewRecipeForm(posted(request))
    form, shown_again = _recipe_form(request, base)
    if request.method == "POST" and not shown_again and all([head.is_valid(), form.is_valid()]):
        definition = form.definition(head.text("code").upper())
        outcome = definition and try_act(
            form, services.add_recipe, request, code=head.text("code"), name=form.text("name"), family=base.family.value,
            grade=head.text("grade"), definition=definition, reason=form.text("reason"),
        )  # fmt: skip
        if outcome:
            receipt(request, f"Written: recipe {outcome.subject[2]}, version 1 as a draft.")
            return redirect(_page(outcome.subject[2]))
    return _form_page(
        request,
        form,
        head=head,
        title="New recipe",
        back_url=reverse("setup-recipes"),
        sentence=f"Begun with {base.code}: {base.family.label}.",
    )


@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, code: str) -> HttpResponse:
    recipe = _recipe(code)
    listed = list(recipe.versions.all())
    wanted = request.GET.get("from", "")
    source = _version(recipe, int(wanted)) if wanted.isdecimal() and len(wanted) < 6 else listed[0]
    form, shown_again = _recipe_form(request, selectors.recipe_definition(source))
    if request.method == "POST" and not shown_again and form.is_valid():
        definition = form.definition(recipe.code)
        outcome = definition and try_act(
            form,
            services.draft_recipe_version,
            request,
            recipe_id=recipe.pk,
            definition=definition,
            reason=form.text("reason"),
        )
        if outcome:
            receipt(request, f"Written: version {outcome.result.number} of {recipe.code} as a draft.")
            return redirect(_page(recipe.code, outcome.result.number))
    sentence = f"Begun with version {source.number}. It becomes a draft, and another person approves it."
    return _form_page(
        request, form, title=f"Next version of {recipe.code}", back_url=_page(recipe.code), sentence=sentence
    )


def _recipe_form(request: HttpRequest, base: RecipeDefinition) -> tuple[RecipeForm, bool]:
    """The form, and whether it is only shown again because a step was put in."""
    system = unit_system_of(request)
    if request.method != "POST":
        return RecipeForm(
            initial=initial_of(base),
            family=base.family,
            step_kinds=[step.kind for step in base.steps],
            system=system,
        ), False
    kinds = kinds_from(request.POST.get("kinds", ""))
    wanted = request.POST.get("put_in", "")
    if request.POST.get("act") == "put_in" and wanted in [kind.value for kind in StepKind]:
        after = request.POST.get("put_in_after", "")
        place = int(after) if after.isdecimal() and len(after) < 4 else len(kinds)
        kinds, texts = with_step_put_in(request.POST, kinds, StepKind(wanted), place)
        return RecipeForm(initial=texts, family=base.family, step_kinds=kinds, system=system), True
    # What was shown and left alone keeps its stored value, as long as the steps are still the same.
    initial = initial_of(base) if kinds == [step.kind for step in base.steps] else {}
    return RecipeForm(
        request.POST, initial=initial, family=base.family, step_kinds=kinds, system=system
    ), False


def _form_page(
    request: HttpRequest,
    form: RecipeForm,
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
        "step_kinds": [(kind.value, kind.label) for kind in StepKind],
        "right": right(request, "recipe.edit"),
    }
    bad = form.errors or (head is not None and head.errors)
    return render(request, "setup/recipe_form.html", context, status=refused_status(form) if bad else 200)


# --- approval -------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, code: str, number: int) -> HttpResponse:
    recipe = _recipe(code)
    version = _version(recipe, number)
    form = versions.ApproveForm(posted(request))
    act = Act(
        title=f"Approve {recipe.code} version {number}",
        sentence=versions.version_sentence(version),
        permission="recipe.approve",
        service=services.approve_recipe_version,
        arguments=lambda: {"version_id": version.pk, "effective_from": form.cleaned_data["effective_from"]},
        said=lambda outcome: f"Written: {recipe.code} version {number} is approved.",
        then=lambda outcome: _page(recipe.code, number),
        back_url=_page(recipe.code, number),
        button="Approve it",
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, code: str, number: int) -> HttpResponse:
    recipe = _recipe(code)
    version = _version(recipe, number)
    form = versions.WithdrawForm(posted(request))
    act = Act(
        title=f"Withdraw {recipe.code} version {number}",
        sentence="No new batch uses it from now on. Batches that run under it keep it.",
        permission="recipe.approve",
        service=services.withdraw_recipe_version,
        arguments=lambda: {"version_id": version.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: {recipe.code} version {number} is withdrawn.",
        then=lambda outcome: _page(recipe.code, number),
        back_url=_page(recipe.code, number),
        button="Withdraw it",
        is_stopping=True,
    )
    return act_page(request, form, act)
