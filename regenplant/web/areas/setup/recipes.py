"""Recipes: list, versions step by step, comparison, drafting and approval by another person."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.recipes import RECIPE_LIMITS, RecipeDefinition
from regenplant.core.process.vocabulary import Leg, Purpose, StepKind
from regenplant.recipes import selectors, services
from regenplant.recipes.models import Recipe
from regenplant.web.acting import try_act
from regenplant.web.areas.setup import versions
from regenplant.web.areas.setup.recipe_form import RecipeForm, initial_of, kinds_from, with_step_put_in
from regenplant.web.areas.setup.versioned import NewHeadForm, Versioned, newest_of
from regenplant.web.house_form import posted
from regenplant.web.listing import chips
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


def _content(recipe: Recipe, definition: RecipeDefinition, system: str) -> dict[str, Any]:
    """All that a version says."""
    return {
        "recipe": recipe,
        "family_and_grade": _family_and_grade(recipe),
        "steps": [_step_shown(index, step, system) for index, step in enumerate(definition.steps, start=1)],
        "facts": _facts(definition, system),
        "notes": definition.notes,
    }


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


def _family_and_grade(recipe: Recipe) -> str:
    """A mixed bed has its grade in its name."""
    family = recipe.get_family_display()
    return family if recipe.grade in family else f"{family}, grade {recipe.grade}"


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
        step.leg.label
        if step.leg is not Leg.WHOLE and step.leg.label.lower() not in step.name.lower()
        else "",
        step.chemical.label if step.chemical else "",
        step.water.label if step.water else "",
        "two people check the connection" if step.asks_second_person else "",
    ]
    return {
        "number": number,
        "name": step.name,
        "kind": step.kind.label,
        "with": ", ".join(filter(None, words)),
        "ends_when": f"{step.ends_when.rstrip('.')}." if step.ends_when else "",
        "is_safe_hold_after": step.is_safe_hold_after,
        "rows": rows,
    }


RECIPES = Versioned(
    noun="recipe",
    things=selectors.recipes,
    definition_of=selectors.recipe_definition,
    content=_content,
    differences=selectors.recipe_differences,
    to_begin_with=default_recipes,
    approve_version=services.approve_recipe_version,
    withdraw_version=services.withdraw_recipe_version,
    after_withdrawal="No new batch uses it from now on. Batches that run under it keep it.",
)
_STEP_KINDS = [(kind.value, kind.label) for kind in StepKind]


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
    newest = newest_of(recipe)
    return selectors.purpose_of(newest) if newest else None


def _listed(recipe: Recipe) -> dict[str, Any]:
    purpose = _purpose(recipe)
    return RECIPES.listed(recipe, f" · {purpose}" if purpose not in (None, Purpose.REGENERATION) else "")


@require_safe
def recipe_page(request: HttpRequest, code: str) -> HttpResponse:
    """The newest version; the others are listed beside it."""
    return version_page(request, code, RECIPES.newest(RECIPES.thing(code)).number)


@require_safe
def version_page(request: HttpRequest, code: str, number: int) -> HttpResponse:
    recipe = RECIPES.thing(code)
    version = RECIPES.version(recipe, number)
    definition = selectors.recipe_definition(version)
    context = {
        **RECIPES.version_context(request, recipe, version, definition),
    }
    return render(request, "setup/recipe.html", context)


@require_safe
def compare(request: HttpRequest, code: str) -> HttpResponse:
    return RECIPES.compare(request, code)


# --- drafting -------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    points = RECIPES.starting_points()
    base = points.get(request.GET.get("from", ""))
    if base is None:
        return RECIPES.begin(request, points)
    head = NewHeadForm(posted(request))
    form, shown_again = _recipe_form(request, base)
    if request.method == "POST" and not shown_again and all([head.is_valid(), form.is_valid()]):
        definition = form.definition(head.text("code").upper())
        outcome = definition and try_act(
            form, services.add_recipe, request, code=head.text("code"), name=form.text("name"), family=base.family.value,
            grade=head.text("grade"), definition=definition, reason=form.text("reason"),
        )  # fmt: skip
        if outcome:
            return RECIPES.after_new(request, outcome)
    return RECIPES.new_page(request, form, base, head, step_kinds=_STEP_KINDS)


@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, code: str) -> HttpResponse:
    recipe = RECIPES.thing(code)
    wanted = request.GET.get("from", "")
    is_named = wanted.isdecimal() and len(wanted) < 6
    source = RECIPES.version(recipe, int(wanted)) if is_named else RECIPES.newest(recipe)
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
            return RECIPES.after_draft(request, recipe, outcome)
    return RECIPES.draft_page(request, form, recipe, source, step_kinds=_STEP_KINDS)


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


# --- approval -------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, code: str, number: int) -> HttpResponse:
    return RECIPES.approve(request, code, number)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, code: str, number: int) -> HttpResponse:
    return RECIPES.withdraw(request, code, number)
