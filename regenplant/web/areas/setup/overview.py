"""The set-up at a glance: one row per area, each saying what stands there and what needs a person."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.batches.checking import Method, check_methods
from regenplant.chemicals.models import DataSheet, Place
from regenplant.keeping import retention
from regenplant.people.models import Person
from regenplant.plant import drain_table
from regenplant.plant.limits import version_in_force
from regenplant.plant.models import (
    DrainTableVersion,
    Instrument,
    LimitsVersion,
    MeterFeed,
    PermitVersion,
    Skid,
    Terminal,
    Vessel,
    WasteTank,
    WaterSupply,
)
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import is_instrument_valid, plant_day, profile
from regenplant.recipes.models import Product, Recipe, RecipeVersion, Specification, SpecificationVersion
from regenplant.resins.models import ResinLot, ResinType
from regenplant.web.areas.setup.shown import count, eyewash_sentence
from regenplant.web.presenters.words import joined


@dataclass(frozen=True, slots=True)
class Row:
    """One area of the set-up."""

    name: str
    url: str
    state: str
    call: str = ""
    """What needs a person there; "" for nothing."""


@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    rows = [*_equipment(), *_process(), *_rest()]
    calls = [row for row in rows if row.call]
    sentence = (
        f"{count(len(calls), 'area needs', 'areas need')} a person: {', '.join(row.name.lower() for row in calls)}."
        if calls
        else "Everything that can be overdue is in time."
    )
    return render(request, "setup/overview.html", {"rows": rows, "calls": calls, "sentence": sentence})


def _equipment() -> list[Row]:
    plant, today = profile(), plant_day(timezone.now())
    vessels = list(Vessel.objects.filter(is_active=True))
    locked = [vessel.code for vessel in vessels if vessel.is_locked_out]
    instruments = list(Instrument.objects.filter(is_active=True))
    overdue = [item.code for item in instruments if not is_instrument_valid(item, today)]
    skids = Skid.objects.filter(is_active=True).count()
    waters, wastes = WaterSupply.objects.count(), WasteTank.objects.count()
    return [
        Row("Plant and emergency", reverse("setup-plant"), plant.name, eyewash_sentence(plant, today)),
        Row(
            "Vessels",
            reverse("setup-vessels"),
            f"{count(len(vessels), 'vessel')}{f', {len(locked)} locked out' if locked else ''}",
        ),
        Row(
            "Skids, waters, waste",
            reverse("setup-supplies"),
            f"{count(skids, 'skid')}, {count(waters, 'water')}, {count(wastes, 'waste tank')}",
            "" if wastes else "No waste tank is set up, so nothing can be planned.",
        ),
        Row(
            "Instruments",
            reverse("setup-instruments"),
            count(len(instruments), "instrument"),
            f"{', '.join(overdue)}: calibration is due, so readings prove nothing." if overdue else "",
        ),
    ]


def _process() -> list[Row]:
    draft = {
        model: model.objects.filter(state="draft").count() for model in (RecipeVersion, SpecificationVersion)
    }
    waits = {
        model: f"{count(number, 'draft waits', 'drafts wait')} for a second person." if number else ""
        for model, number in draft.items()
    }
    return [
        Row(
            "Resin types",
            reverse("setup-resins"),
            count(ResinType.objects.filter(is_active=True).count(), "type"),
        ),
        Row(
            "Resin lots",
            reverse("setup-lots"),
            count(ResinLot.objects.filter(is_scrapped=False).count(), "lot"),
        ),
        Row(
            "Recipes",
            reverse("setup-recipes"),
            count(Recipe.objects.filter(is_active=True).count(), "recipe"),
            waits[RecipeVersion],
        ),
        Row(
            "Specifications",
            reverse("setup-specifications"),
            count(Specification.objects.filter(is_active=True).count(), "specification"),
            waits[SpecificationVersion],
        ),
        Row(
            "Products and customers",
            reverse("setup-products"),
            count(Product.objects.filter(is_active=True).count(), "product"),
        ),
        Row("Checks of critical entries", reverse("setup-entry-checks"), _checks()),
    ]


def _checks() -> str:
    """Which classes have a second person: "second person in class A and B"."""
    classes = [cls for cls, method in check_methods().items() if method is Method.SECOND_PERSON]
    return f"second person in class {joined(classes)}" if classes else "typed twice in every class"


def _limits() -> Row:
    version = version_in_force(timezone.now())
    draft = LimitsVersion.objects.filter(state=LimitsVersion.State.DRAFT).exists()
    return Row(
        "Plant limits",
        reverse("setup-limits"),
        f"version {version.number}" if version else "the defaults of the trade",
        "A draft waits for a second person." if draft else "",
    )


def _permit() -> Row:
    found = permit_in_force(timezone.now())
    draft = PermitVersion.objects.filter(state=PermitVersion.State.DRAFT).exists()
    return Row(
        "Discharge permit",
        reverse("setup-permit"),
        f"version {found.version.number}, until {found.content.expires_on}"
        if found.version
        else "no version yet",
        "A draft waits for a second person." if draft else "",
    )


def _drains() -> Row:
    version = drain_table.version_in_force(timezone.now())
    draft = DrainTableVersion.objects.filter(state=DrainTableVersion.State.DRAFT).exists()
    return Row(
        "What may drain where",
        reverse("setup-drains"),
        f"version {version.number}" if version else "the program’s table",
        "A draft waits for a second person." if draft else "",
    )


def _retention() -> Row:
    rules = retention.version_in_force(timezone.now())
    return Row(
        "Retention and legal holds",
        reverse("retention"),
        f"version {rules.number}" if rules else "proposals, nothing decided",
    )


def _rest() -> list[Row]:
    tanks = Place.objects.filter(kind=Place.Kind.BULK_TANK).count()
    sheets = DataSheet.objects.filter(is_in_force=True).count()
    people = Person.objects.filter(is_active=True, is_device=False).count()
    return [
        _limits(),
        _permit(),
        _drains(),
        _retention(),
        Row("Chemical tanks", reverse("chemicals-places"), count(tanks, "bulk tank")),
        Row("Data sheets", reverse("chemicals-sheets"), f"{count(sheets, 'sheet')} in force"),
        Row(
            "Meter feeds",
            reverse("setup-meter-feeds"),
            f"{count(MeterFeed.objects.filter(is_active=True).count(), 'meter')} may send readings",
        ),
        Row(
            "Terminals",
            reverse("setup-terminals"),
            count(Terminal.objects.filter(is_active=True).count(), "named terminal"),
        ),
        Row("People", reverse("setup-people"), count(people, "person", "people")),
    ]
