"""Specifications: list, versions, comparison, drafting and approval by another person."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.process import specification as core
from regenplant.core.process.default_recipes import default_specifications
from regenplant.recipes import selectors, services
from regenplant.web.acting import try_act
from regenplant.web.areas.setup import versions
from regenplant.web.areas.setup.shown import NONE, both
from regenplant.web.areas.setup.specification_form import SpecificationForm
from regenplant.web.areas.setup.versioned import NewHeadForm, Versioned
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


def _content(specification: Any, definition: core.Specification, system: str) -> dict[str, Any]:
    """All that a version says."""
    return {
        "specification": specification,
        "limits": [(limit.name, versions.limit_words(limit, system)) for limit in definition.limits],
        "rinse": _rinse_rows(definition, system),
        "notes": definition.notes,
    }


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
        ("Jump that no water makes", f"{definition.jump_factor:g} times within a minute"),
    ]


SPECIFICATIONS = Versioned(
    noun="specification",
    things=selectors.specifications,
    definition_of=selectors.specification_definition,
    content=_content,
    differences=selectors.specification_differences,
    to_begin_with=default_specifications,
    approve_version=services.approve_specification_version,
    withdraw_version=services.withdraw_specification_version,
    after_withdrawal="No new batch is judged by it from now on. Batches that run under it keep it.",
)


@require_safe
def specification_list(request: HttpRequest) -> HttpResponse:
    things = list(selectors.specifications())
    context = {
        "title": "Specifications",
        "noun": "specification",
        "things": [SPECIFICATIONS.listed(thing) for thing in versions.of_family(request, things)],
        "filters": [("Family", versions.family_chips(request, things))],
        "sentence": versions.list_sentence("specification", things),
        "add_url": reverse("setup-specification-new"),
        "edit": right(request, "recipe.edit"),
    }
    return render(request, "setup/versioned_list.html", context)


@require_safe
def specification_page(request: HttpRequest, code: str) -> HttpResponse:
    """The newest version; the others are listed beside it."""
    return version_page(request, code, SPECIFICATIONS.newest(SPECIFICATIONS.thing(code)).number)


@require_safe
def version_page(request: HttpRequest, code: str, number: int) -> HttpResponse:
    thing = SPECIFICATIONS.thing(code)
    version = SPECIFICATIONS.version(thing, number)
    definition = selectors.specification_definition(version)
    context = {
        **SPECIFICATIONS.version_context(request, thing, version, definition),
    }
    return render(request, "setup/specification.html", context)


@require_safe
def compare(request: HttpRequest, code: str) -> HttpResponse:
    return SPECIFICATIONS.compare(request, code)


# --- drafting -------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    points = SPECIFICATIONS.starting_points()
    base = points.get(request.GET.get("from", ""))
    if base is None:
        return SPECIFICATIONS.begin(request, points)
    head = NewHeadForm(posted(request))
    form = SpecificationForm(posted(request), base=base, system=unit_system_of(request))
    if request.method == "POST" and all([head.is_valid(), form.is_valid()]):
        definition = form.definition(head.text("code").upper())
        outcome = definition and try_act(
            form, services.add_specification, request, code=head.text("code"), name=form.text("name"),
            family=base.family.value, grade=head.text("grade"), definition=definition, reason=form.text("reason"),
        )  # fmt: skip
        if outcome:
            return SPECIFICATIONS.after_new(request, outcome)
    return SPECIFICATIONS.new_page(request, form, base, head)


@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, code: str) -> HttpResponse:
    thing = SPECIFICATIONS.thing(code)
    source = SPECIFICATIONS.newest(thing)
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
            return SPECIFICATIONS.after_draft(request, thing, outcome)
    return SPECIFICATIONS.draft_page(request, form, thing, source)


# --- approval -------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, code: str, number: int) -> HttpResponse:
    return SPECIFICATIONS.approve(request, code, number)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, code: str, number: int) -> HttpResponse:
    return SPECIFICATIONS.withdraw(request, code, number)
