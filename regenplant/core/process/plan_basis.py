"""What every step of a plan stands on: the bed in its reference form, the waters, the stocks.

Made once from the request. Refuses only what cannot be (a negative volume, an anion counted in hydrogen form);
everything a plant may fix becomes a check later.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property

from regenplant.core.engineering import loads, solutions
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.hydraulics import Bead
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import (
    PlanRequest,
    ResinData,
    SkidData,
    StockData,
    WaterData,
)
from regenplant.core.process.plan_bed import Bed, mixed_beds, whole_volume
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import (
    EXHAUSTED_FORM,
    REGENERATED_FORM,
    Chemical,
    Leg,
    LegArrangement,
    ResinFamily,
    StepKind,
    WaterKind,
)

ASSUMED_WATER_KELVIN = 293.15
"""20 °C, taken where a supply is missing from the records, so that the rest of the plan can still be shown."""


def set_point(symbol: str, name: str, value: float, unit: str, kind: str) -> Estimate:
    """A figure that the recipe sets."""
    return Estimate(symbol, name, value, unit, kind, "set point of the recipe", (), "recipe", "recipe")


def recorded(
    symbol: str, name: str, value: float, unit: str, kind: str, source: str = "plant_record"
) -> Estimate:
    """A figure that the plant measured or keeps on record."""
    return Estimate(symbol, name, value, unit, kind, "on record", (), "record", source)


def require_finite(value: object, name: str) -> None:
    """Refuse a request that holds something that is not a number, anywhere in it.

    Raises: OutOfRange naming the place.
    """
    if isinstance(value, float):
        if not math.isfinite(value):
            raise OutOfRange(f"In {name} stands something that is not a number.", code="not_a_number")
    elif is_dataclass(value) and not isinstance(value, type):
        for entry in fields(value):
            require_finite(getattr(value, entry.name), entry.name)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            require_finite(item, str(key))
    elif isinstance(value, tuple):
        for item in value:
            require_finite(item, name)


@dataclass(frozen=True)
class PlanBasis:
    """The request with what follows from it before any step is looked at."""

    request: PlanRequest

    def __post_init__(self) -> None:
        request = self.request
        family = request.resin.family
        forms = (EXHAUSTED_FORM[family], REGENERATED_FORM[family])
        if request.resin_volume_form not in forms:
            raise OutOfRange(
                f"A {family.label} cannot be counted in {request.resin_volume_form.label}. "
                f"Count it in {forms[0].label} or {forms[1].label}.",
                code="form_does_not_fit",
                field="resin_volume_form",
            )
        require_finite(request, "the request")
        for resin in self._resins():
            require_positive(resin.operating_capacity_eq_per_m3, "operating capacity", "eq/m³")
            require_within(resin.capacity_factor, 0.05, 1.5, "capacity factor")
        if family.is_mixed:
            self._require_mixed()
        for vessel in (request.vessel, request.anion_vessel):
            if vessel is not None:
                require_positive(vessel.straight_height_m, "straight height of the vessel", "m")
                require_positive(vessel.bed_volume_max_m3, "rated bed volume of the vessel", "m³")
        if request.eluted_equivalents is not None:
            require_positive(request.eluted_equivalents, "load on the resin", "eq")
        if request.throughput_m3 is not None:
            require_positive(request.throughput_m3, "throughput", "m³")
        for stock in request.stock.values():
            require_within(stock.strength_frac, 0.0, 1.0, f"strength of lot {stock.lot_code}")
            require_within(
                stock.temperature_kelvin, 233.15, 373.15, f"temperature of lot {stock.lot_code}", "K"
            )
            if stock.density_kg_per_m3 is not None:
                require_within(
                    stock.density_kg_per_m3, 850.0, 2000.0, f"density of lot {stock.lot_code}", "kg/m³"
                )

    def _resins(self) -> tuple[ResinData, ...]:
        if self.request.resin.family.is_exchanged:
            return ()  # carbon holds no exchange capacity
        mixed = self.request.mixed
        return (mixed.cation, mixed.anion) if mixed is not None else (self.request.resin,)

    def _require_mixed(self) -> None:
        mixed = self.request.mixed
        if mixed is None:
            raise OutOfRange(
                f"Resin {self.request.resin.type_code} is a mixed bed; its cation and anion resin are not on record. "
                "Write them down with the resin type.",
                code="mixed_resins_missing",
            )
        require_within(mixed.cation_frac, 0.1, 0.9, "share of the cation resin in the mixed bed")
        if not mixed.cation.family.is_cation or not mixed.anion.family.is_anion:
            raise OutOfRange(
                f"A mixed bed is a cation and an anion resin; on record are {mixed.cation.type_code} "
                f"({mixed.cation.family.label}) and {mixed.anion.type_code} ({mixed.anion.family.label}).",
                code="mixed_resins_wrong",
            )

    # --- the beds ---------------------------------------------------------------------------------------------
    def bed(self, leg: Leg) -> Bed:
        """The bed a step works on."""
        return self._beds[leg]

    @cached_property
    def _beds(self) -> dict[Leg, Bed]:
        request, mixed = self.request, self.request.mixed
        family = request.resin.family
        if not family.is_mixed or mixed is None:
            return {
                Leg.WHOLE: Bed(
                    Leg.WHOLE, request.resin, request.vessel, whole_volume(request), self._eluted(family)
                )
            }
        apart = request.recipe.arrangement is LegArrangement.APART
        anion_vessel = (request.anion_vessel if apart else None) or request.vessel
        return mixed_beds(
            request,
            mixed,
            (request.vessel, anion_vessel),
            (self._eluted(mixed.cation.family), self._eluted(mixed.anion.family)),
        )

    def _eluted(self, family: ResinFamily) -> Estimate | None:
        """Equivalents on the resin as recorded, or from throughput and feed; None where neither is known."""
        request = self.request
        if request.eluted_equivalents is not None:
            return recorded(
                "n_e",
                "load on the resin, from throughput and feed analysis",
                request.eluted_equivalents,
                "eq",
                "equivalents",
            )
        if request.throughput_m3 is None or request.feed is None or family.is_exchanged or family.is_mixed:
            return None
        return loads.eluted_equivalents(family.value, request.feed, request.throughput_m3)

    @property
    def beds(self) -> tuple[Bed, ...]:
        """The beds that chemicals meet: both legs of a mixed bed, else the whole bed."""
        if self.request.resin.family.is_mixed:
            return (self.bed(Leg.CATION), self.bed(Leg.ANION))
        return (self.bed(Leg.WHOLE),)

    def is_emptied_at(self, step: RecipeStep) -> bool:
        """Whether the tanks stand empty at this step: between emptying them and filling them anew."""
        kinds = [entry.kind for entry in self.request.recipe.steps]
        if StepKind.EMPTY not in kinds:
            return False
        place = next(index for index, entry in enumerate(self.request.recipe.steps) if entry is step)
        return StepKind.EMPTY in kinds[:place] and StepKind.FILL not in kinds[:place]

    @property
    def reference_volume(self) -> Estimate:
        """Volume of the whole bed in the exhausted form."""
        return self.bed(Leg.WHOLE).reference_volume

    @property
    def volume_m3(self) -> float:
        return self.bed(Leg.WHOLE).volume_m3

    @property
    def swollen_volume_m3(self) -> float:
        return self.bed(Leg.WHOLE).swollen_volume_m3

    @property
    def depth(self) -> Estimate:
        return self.bed(Leg.WHOLE).depth

    @property
    def bead(self) -> Bead:
        return self.bed(Leg.WHOLE).bead

    @property
    def load(self) -> Estimate:
        return self.bed(Leg.WHOLE).load

    # --- supplies ---------------------------------------------------------------------------------------------
    def water(self, kind: WaterKind | None) -> WaterData | None:
        return self.request.waters.get(kind.value) if kind is not None else None

    def water_kelvin(self, kind: WaterKind | None) -> float:
        found = self.water(kind)
        return found.temperature_kelvin if found is not None else ASSUMED_WATER_KELVIN

    def stock(self, chemical: Chemical) -> StockData | None:
        return self.request.stock.get(chemical.value)

    def skid(self, chemical: Chemical) -> SkidData | None:
        return self.request.skids.get(chemical.value)

    def stock_density(self, stock: StockData) -> Estimate | None:
        """Measured density if the plant has one, else calculated from the checked strength.

        None where it is neither measured nor known for this strength and temperature; a check says so.
        """
        if stock.density_kg_per_m3 is not None:
            return recorded(
                "ρ_s",
                f"density of the stock, lot {stock.lot_code}, measured",
                stock.density_kg_per_m3,
                "kg/m^3",
                "density",
            )
        chemical = stock.chemical.value
        if not solutions.is_density_known(chemical, stock.strength_frac, stock.temperature_kelvin):
            return None
        found = solutions.solution_density(chemical, stock.strength_frac, stock.temperature_kelvin)
        return found.named("ρ_s", f"density of the stock, lot {stock.lot_code}")

    def usable_stock(self, step: RecipeStep) -> tuple[StockData, Estimate] | None:
        """The stock for an injection with its density, or None where the figures of the stock cannot be given."""
        assert step.chemical is not None
        stock = self.stock(step.chemical)
        if stock is None or stock.chemical is not step.chemical:
            return None
        if not step.settings["strength_frac"].target < stock.strength_frac < 1.0:
            return None
        density = self.stock_density(stock)
        return (stock, density) if density is not None else None
