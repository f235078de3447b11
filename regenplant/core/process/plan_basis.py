"""What every step of a plan stands on: the bed in its reference form, the waters, the stocks.

Made once from the request. Refuses only what cannot be (a negative volume, an anion counted in hydrogen form);
everything a plant may fix becomes a check later.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property

from regenplant.core.engineering import beds, solutions
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.hydraulics import Bead
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import PlanRequest, SkidData, StockData, WaterData
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, REGENERATED_FORM, Chemical, WaterKind

ASSUMED_WATER_KELVIN = 293.15
"""20 °C, taken where a supply is missing from the records, so that the rest of the plan can still be shown."""

CHEMICALS_BY_FAMILY = {
    "sac_h": (Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID),
    "sac_na": (Chemical.SODIUM_CHLORIDE,),
    "sba_1": (Chemical.SODIUM_HYDROXIDE,),
    "sba_2": (Chemical.SODIUM_HYDROXIDE,),
}
"""What may regenerate a family; by ``ResinFamily`` value."""


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
        require_positive(request.resin.operating_capacity_eq_per_m3, "operating capacity", "eq/m³")
        require_within(request.resin.capacity_factor, 0.05, 1.5, "capacity factor")
        require_positive(request.vessel.straight_height_m, "straight height of the vessel", "m")
        require_positive(request.vessel.bed_volume_max_m3, "rated bed volume of the vessel", "m³")
        if request.eluted_equivalents is not None:
            require_positive(request.eluted_equivalents, "load on the resin", "eq")
        for stock in request.stock.values():
            require_within(stock.strength_frac, 0.0, 1.0, f"strength of lot {stock.lot_code}")
            require_within(
                stock.temperature_kelvin, 233.15, 373.15, f"temperature of lot {stock.lot_code}", "K"
            )
            if stock.density_kg_per_m3 is not None:
                require_within(
                    stock.density_kg_per_m3, 900.0, 2000.0, f"density of lot {stock.lot_code}", "kg/m³"
                )

    # --- the bed ----------------------------------------------------------------------------------------------
    @cached_property
    def reference_volume(self) -> Estimate:
        """Resin volume in the exhausted form: what doses and bed volumes refer to."""
        request = self.request
        family = request.resin.family
        same_form = EXHAUSTED_FORM[family] is REGENERATED_FORM[family]
        is_regenerated = not same_form and request.resin_volume_form is REGENERATED_FORM[family]
        return beds.volume_in_exhausted_form(
            request.resin_volume_m3, request.resin.swelling_frac, is_regenerated
        )

    @cached_property
    def volume_m3(self) -> float:
        return self.reference_volume.value

    @cached_property
    def swollen_volume_m3(self) -> float:
        """The larger of the two forms [m³]: what the vessel must hold at any moment."""
        return self.volume_m3 * (1.0 + max(self.request.resin.swelling_frac, 0.0))

    @cached_property
    def depth(self) -> Estimate:
        return beds.bed_depth(self.volume_m3, self.request.vessel.internal_diameter_m)

    @cached_property
    def bead(self) -> Bead:
        resin = self.request.resin
        return Bead(resin.bead_diameter_m, resin.bead_density_kg_per_m3, resin.settled_void_frac)

    @cached_property
    def load(self) -> Estimate:
        """Equivalents to be taken off the resin."""
        request, resin = self.request, self.request.resin
        if request.eluted_equivalents is not None:
            return recorded(
                "n_e",
                "load on the resin, from throughput and feed analysis",
                request.eluted_equivalents,
                "eq",
                "equivalents",
            )
        return Estimate(
            symbol="n_e",
            name="load on the resin at operating capacity",
            value=self.volume_m3 * resin.operating_capacity_eq_per_m3 * resin.capacity_factor,
            unit="eq",
            kind="equivalents",
            formula="V_r · c_o · f_c",
            inputs=(
                self.reference_volume.as_input(),
                Input("c_o", "operating capacity of the resin type", resin.operating_capacity_eq_per_m3, "eq/m^3", "capacity"),
                Input("f_c", "capacity factor of the lot", resin.capacity_factor, "dimensionless", "fraction"),
            ),
            method="operating capacity times volume",
            source="supplier_sheet",
            valid="resin exhausted to its operating capacity; a shorter run leaves less",
        )  # fmt: skip

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
