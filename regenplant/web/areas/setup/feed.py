"""The feed analysis of the plant: written as a laboratory reports it, with its charge balance, and taken off the record."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse, reverse_lazy
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.bench.names import BenchRefused
from regenplant.bench.reading import read_one
from regenplant.core.bench.quantity import InputSpec
from regenplant.plant import services
from regenplant.plant.models import FEED_FIGURES, PlantProfile
from regenplant.plant.selectors import profile
from regenplant.plant.services import FeedSettings
from regenplant.units import Understood
from regenplant.web.act_page import Act, act_page
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.presenters.feed import feed_rows
from regenplant.web.requests import unit_system_of

LONGEST_FIGURE = 60
AS_REPORTED = "Also as mg/L or mg/L as CaCO₃: say which."
IONS: dict[str, tuple[str, str]] = {
    "calcium_eq_per_m3": ("Calcium", "Ca++"),
    "magnesium_eq_per_m3": ("Magnesium", "Mg++"),
    "sodium_eq_per_m3": ("Sodium and what is like it", "Na+"),
    "chloride_eq_per_m3": ("Chloride", "Cl-"),
    "sulfate_eq_per_m3": ("Sulfate", "SO4--"),
    "nitrate_eq_per_m3": ("Nitrate", "NO3-"),
    "alkalinity_eq_per_m3": ("Alkalinity", "HCO3-"),
    "carbon_dioxide_mol_per_m3": ("Free carbon dioxide", "CO2"),
    "silica_mol_per_m3": ("Silica", "SiO2"),
}
"""Figure of the analysis: its name, and the ion a mass is reported of."""


class AnalysisField(QuantityField):
    """One figure of an analysis, as laboratories write it: "62 mg/L", "155 mg/L as CaCO3", "3.1 meq/L"."""

    understand_url = reverse_lazy("setup-plant-feed-understood")

    def __init__(self, name: str, **kwargs: Any):
        label, species = IONS[name]
        kind = "normality" if name.endswith("_eq_per_m3") else "amount_concentration"
        unit = "meq/L" if kind == "normality" else "mmol/L"
        self.spec = InputSpec(name, label, kind, unit, 0.0, 1000.0, species=species)
        super().__init__(kind, label=label, help_text=AS_REPORTED, **kwargs)

    def to_python(self, value: Any) -> Understood | None:
        if value in self.empty_values:
            return None
        if isinstance(value, Understood):
            return value
        text = str(value)
        if "\x00" in text or len(text) > LONGEST_FIGURE:
            raise ValidationError(
                f"That is no figure of an analysis. Write a number with its unit, for example {self.example}.",
                code="no_figure",
            )
        try:
            found = read_one(self.spec, text, system=self.system).value
        except BenchRefused as refusal:
            raise ValidationError(refusal.context.get("why", refusal.message), code=refusal.code) from refusal
        assert isinstance(found, float)
        return Understood(text, text, "", found, self.kind)

    def understood_as(self, text: str) -> str:
        """In equivalents or amount, whatever it was written in. Raises BenchRefused."""
        found = read_one(self.spec, text, system=self.system).value
        return units.twin(found, self.kind, self.system) if isinstance(found, float) else ""


class FeedForm(HouseForm):
    calcium_eq_per_m3 = AnalysisField("calcium_eq_per_m3")
    magnesium_eq_per_m3 = AnalysisField("magnesium_eq_per_m3")
    sodium_eq_per_m3 = AnalysisField("sodium_eq_per_m3")
    alkalinity_eq_per_m3 = AnalysisField("alkalinity_eq_per_m3")
    chloride_eq_per_m3 = AnalysisField("chloride_eq_per_m3")
    sulfate_eq_per_m3 = AnalysisField("sulfate_eq_per_m3")
    nitrate_eq_per_m3 = AnalysisField("nitrate_eq_per_m3")
    carbon_dioxide_mol_per_m3 = AnalysisField("carbon_dioxide_mol_per_m3")
    silica_mol_per_m3 = AnalysisField("silica_mol_per_m3")
    basis = words_field(
        160,
        label="Whose analysis, of which day",
        help_text="For example: City laboratory, 2026-02-20.",
    )

    @classmethod
    def initial_of(cls, plant: PlantProfile) -> dict[str, Any]:
        figures = {name.removeprefix("feed_"): getattr(plant, name) for name in FEED_FIGURES}
        return {**figures, "basis": plant.feed_basis, "version": plant.version}

    def settings(self) -> FeedSettings:
        return FeedSettings(
            **{name: self.needed_quantity(name) for name in IONS},
            basis=self.text("basis"),
        )


class RemoveFeedForm(HouseForm):
    reason = words_field(
        300, rows=2, label="Reason", help_text="Why it holds no longer, and that no newer one is known."
    )


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest) -> HttpResponse:
    plant = profile()
    form = FeedForm(posted(request), initial=FeedForm.initial_of(plant), system=unit_system_of(request))
    act = Act(
        title="Feed analysis",
        sentence="What the tanks of this plant usually treat. New plans take calcium, leakage and load from it; frozen plans keep what they had.",
        permission="plant.edit",
        service=services.save_feed_analysis,
        arguments=lambda: {"feed": form.settings(), "version": form.shown_version},
        said=lambda outcome: f"Written: the feed analysis, {outcome.result.feed_basis}.",
        then=lambda outcome: reverse("setup-plant"),
        back_url=reverse("setup-plant"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def remove(request: HttpRequest) -> HttpResponse:
    plant = profile()
    if not plant.feed_basis:
        raise Http404("No feed analysis is on record.")
    form = RemoveFeedForm(posted(request), initial={"version": plant.version})
    act = Act(
        title="Take the feed analysis off the record",
        sentence="Plans made from then on know nothing of the feed: no throughput, no calcium of the load, no leakage.",
        permission="plant.edit",
        service=services.remove_feed_analysis,
        arguments=lambda: {"reason": form.text("reason"), "version": form.shown_version},
        said=lambda outcome: "Written: the feed analysis is off the record.",
        then=lambda outcome: reverse("setup-plant"),
        back_url=reverse("setup-plant"),
        button="Take it off",
        is_stopping=True,
    )
    return act_page(request, form, act, facts=feed_rows(plant, unit_system_of(request)))


@require_safe
def understood(request: HttpRequest) -> HttpResponse:
    """Fragment under a field: the figure in equivalents or amount, whatever it was written in."""
    name = request.GET.get("name", "")
    if name not in IONS:
        raise Http404("No figure of an analysis has this name.")
    field, text = AnalysisField(name, system=unit_system_of(request)), request.GET.get(name, "")[:80]
    sentence = refusal = ""
    if text.strip():
        try:
            sentence = field.understood_as(text)
        except BenchRefused as refused:
            refusal = str(refused.context.get("why", refused.message))
    return render(request, "components/_understood.html", {"sentence": sentence, "refusal": refusal})
