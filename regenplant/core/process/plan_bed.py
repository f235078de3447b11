"""The bodies of resin a plan works on: the whole bed, and the two legs of a mixed bed.

Doses and bed volumes of a step refer to the bed of its leg, counted in the exhausted form. A mixed bed is two resins;
what is true of it as a whole follows from the two and their shares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from regenplant.core.engineering import beds
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.hydraulics import Bead
from regenplant.core.engineering.ranges import require_positive
from regenplant.core.process.plan import MixedData, PlanRequest, ResinData, VesselData
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, REGENERATED_FORM, Leg, ResinFamily

SWELLING_AGREES_FRAC = 0.02
"""How far the swelling recorded for a mixed bed may be off what its two resins give."""


@dataclass(frozen=True)
class Bed:
    """One body of resin in one vessel: the whole bed, or one leg of a mixed bed. Doses and bed volumes refer to it."""

    leg: Leg
    resin: ResinData
    vessel: VesselData
    reference_volume: Estimate
    """Resin volume in the exhausted form: what doses and bed volumes refer to [m^3]."""
    known_load: Estimate | None = None
    """Equivalents on the resin where they are known from throughput and feed [eq]."""

    @property
    def volume_m3(self) -> float:
        return self.reference_volume.value

    @property
    def swollen_volume_m3(self) -> float:
        """The larger of the two forms [m³]: what the vessel must hold at any moment."""
        return self.volume_m3 * (1.0 + max(self.resin.swelling_frac, 0.0))

    @cached_property
    def regenerated_volume(self) -> Estimate:
        """The same resin after regeneration [m^3]."""
        swelling = self.resin.swelling_frac
        return Estimate(
            symbol="V_g",
            name="resin volume, settled, regenerated form",
            value=self.volume_m3 * (1.0 + swelling),
            unit="m^3",
            kind="resin_volume",
            formula=f"{self.reference_volume.symbol} · (1 + s)",
            inputs=(
                self.reference_volume.as_input(),
                Input(
                    "s", "growth from exhausted to regenerated form", swelling, "dimensionless", "fraction"
                ),
            ),
            method="swelling of the resin type",
            source="supplier_sheet",
            valid="settled, not tapped",
        )

    @cached_property
    def depth(self) -> Estimate:
        return beds.bed_depth(self.volume_m3, self.vessel.internal_diameter_m)

    @cached_property
    def bead(self) -> Bead:
        resin = self.resin
        return Bead(resin.bead_diameter_m, resin.bead_density_kg_per_m3, resin.settled_void_frac)

    @cached_property
    def load(self) -> Estimate:
        """Equivalents to be taken off the resin."""
        if self.known_load is not None:
            return self.known_load
        resin = self.resin
        return Estimate(
            symbol="n_e",
            name="load on the resin at operating capacity",
            value=self.volume_m3 * resin.operating_capacity_eq_per_m3 * resin.capacity_factor,
            unit="eq",
            kind="equivalents",
            formula=f"{self.reference_volume.symbol} · c_o · f_c",
            inputs=(
                self.reference_volume.as_input(),
                Input("c_o", "operating capacity of the resin type", resin.operating_capacity_eq_per_m3, "eq/m^3", "capacity"),
                Input("f_c", "capacity factor of the lot", resin.capacity_factor, "dimensionless", "fraction"),
            ),
            method="operating capacity times volume",
            source="supplier_sheet",
            valid="resin exhausted to its operating capacity; a shorter run leaves less",
        )  # fmt: skip


# --- volumes in the reference form ----------------------------------------------------------------------------------
def whole_volume(request: PlanRequest) -> Estimate:
    """Volume of the whole bed in its exhausted form, from the volume as it was counted.

    Raises: OutOfRange for a volume not above zero or a swelling outside its range.
    """
    family = request.resin.family
    if family.is_exchanged:
        return _carbon_volume(request.resin_volume_m3)
    same_form = EXHAUSTED_FORM[family] is REGENERATED_FORM[family]
    is_regenerated = not same_form and request.resin_volume_form is REGENERATED_FORM[family]
    if request.mixed is not None and family.is_mixed and is_regenerated:
        return _mixed_volume(request.resin_volume_m3, request.resin, request.mixed)
    volume = beds.volume_in_exhausted_form(
        request.resin_volume_m3, request.resin.swelling_frac, is_regenerated
    )
    if family is ResinFamily.WAC_HYDROGEN and request.resin.swelling_frac > 0.0:
        growth = (
            "The record says this weak-acid cation grows on regeneration. From the calcium form to the hydrogen form it "
            "shrinks, in the sodium form it is largest: check the data sheet."
        )
        return replace(volume, warnings=(*volume.warnings, growth))
    return volume


def _carbon_volume(volume_m3: float) -> Estimate:
    require_positive(volume_m3, "carbon volume", "m³")
    return Estimate(
        symbol="V_r",
        name="carbon volume, settled",
        value=volume_m3,
        unit="m^3",
        kind="resin_volume",
        formula="V",
        inputs=(Input("V", "carbon volume of the tanks of this batch", volume_m3, "m^3", "resin_volume"),),
        method="as counted; carbon does not swell",
        source="plant_record",
        valid="settled, not tapped",
    )


def _mixed_volume(volume_m3: float, recorded: ResinData, mixed: MixedData) -> Estimate:
    """A mixed bed counted regenerated: each resin shrinks by its own swelling."""
    require_positive(volume_m3, "resin volume", "m³")
    cation, anion, share = mixed.cation, mixed.anion, mixed.cation_frac
    growth = _mixed_swelling_frac(mixed)
    return Estimate(
        symbol="V_r",
        name="resin volume, settled, reference (exhausted) form",
        value=volume_m3 / (1.0 + share * cation.swelling_frac + (1.0 - share) * anion.swelling_frac),
        unit="m^3",
        kind="resin_volume",
        formula="V / (1 + x_c · s_c + (1 − x_c) · s_a)",
        inputs=(
            Input("V", "resin volume as loaded, regenerated form", volume_m3, "m^3", "resin_volume"),
            Input("x_c", "share of the cation resin in the mixed bed, exhausted", share, "dimensionless", "fraction"),
            Input("s_c", "growth of the cation resin on regeneration", cation.swelling_frac, "dimensionless", "fraction"),
            Input("s_a", "growth of the anion resin on regeneration", anion.swelling_frac, "dimensionless", "fraction"),
        ),
        method="swelling of the two resins by their shares",
        source="supplier_sheet",
        valid="settled, not tapped",
        warnings=_swelling_warnings(recorded, growth),
    )  # fmt: skip


def _mixed_swelling_frac(mixed: MixedData) -> float:
    share = mixed.cation_frac
    return share * mixed.cation.swelling_frac + (1.0 - share) * mixed.anion.swelling_frac


def _swelling_warnings(recorded: ResinData, growth: float) -> tuple[str, ...]:
    if abs(recorded.swelling_frac - growth) <= SWELLING_AGREES_FRAC:
        return ()
    return (
        f"The mixed bed is recorded to grow by {recorded.swelling_frac * 100:.1f} %; its two resins give "
        f"{growth * 100:.1f} %, which is used. Check the records of {recorded.type_code}.",
    )


def leg_volume(whole: Estimate, share_frac: float, index: str, which: str) -> Estimate:
    """The part of a mixed bed that is one resin."""
    return Estimate(
        symbol=f"V_{index}",
        name=f"{which} resin volume, settled, reference (exhausted) form",
        value=whole.value * share_frac,
        unit="m^3",
        kind="resin_volume",
        formula=f"{whole.symbol} · x_{index}",
        inputs=(
            whole.as_input(),
            Input(f"x_{index}", f"share of the {which} resin in the mixed bed", share_frac, "dimensionless", "fraction"),
        ),
        method="shares of the mixed bed as filled",
        source="supplier_sheet",
        valid="volumes of the two resins are taken as adding; packing of the mixture is 0 to 3 % denser (common practice)",
    )  # fmt: skip


# --- a mixed bed as a whole -----------------------------------------------------------------------------------------
def mixed_resin(recorded: ResinData, mixed: MixedData) -> ResinData:
    """The two resins of a mixed bed seen as one: capacities by volume, the stricter of the limits.

    The bead diameter is the one of the same outer surface per volume (Sauter), which is what flow through the mixture
    meets; a backwash of the mixture is planned on the anion resin instead, which is carried out first.
    """
    cation, anion, share = mixed.cation, mixed.anion, mixed.cation_frac

    def by_volume(of_cation: float, of_anion: float) -> float:
        return share * of_cation + (1.0 - share) * of_anion

    return replace(
        recorded,
        total_capacity_eq_per_m3=by_volume(cation.total_capacity_eq_per_m3, anion.total_capacity_eq_per_m3),
        operating_capacity_eq_per_m3=by_volume(
            cation.operating_capacity_eq_per_m3, anion.operating_capacity_eq_per_m3
        ),
        bead_diameter_m=1.0 / by_volume(1.0 / cation.bead_diameter_m, 1.0 / anion.bead_diameter_m),
        bead_density_kg_per_m3=by_volume(cation.bead_density_kg_per_m3, anion.bead_density_kg_per_m3),
        settled_void_frac=by_volume(cation.settled_void_frac, anion.settled_void_frac),
        swelling_frac=_mixed_swelling_frac(mixed),
        max_temperature_kelvin=min(cation.max_temperature_kelvin, anion.max_temperature_kelvin),
        cycles=max(cation.cycles, anion.cycles, recorded.cycles),
    )


def both_loads(cation: Bed, anion: Bed) -> Estimate:
    """What both resins of a mixed bed hold."""
    parts = (
        Input("n_c", "load on the cation resin", cation.load.value, "eq", "equivalents"),
        Input("n_a", "load on the anion resin", anion.load.value, "eq", "equivalents"),
    )
    return Estimate(
        symbol="n_e",
        name="load on both resins",
        value=sum(part.value for part in parts),
        unit="eq",
        kind="equivalents",
        formula="n_c + n_a",
        inputs=parts,
        method="sum of the two legs",
        source="charge_balance",
    )


def mixed_beds(
    request: PlanRequest,
    mixed: MixedData,
    vessels: Sequence[VesselData],
    loads: Sequence[Estimate | None],
) -> dict[Leg, Bed]:
    """The beds of a mixed bed by leg; ``vessels`` and ``loads`` stand for the cation and the anion leg."""
    whole = whole_volume(request)
    share = mixed.cation_frac
    cation = Bed(Leg.CATION, mixed.cation, vessels[0], leg_volume(whole, share, "c", "cation"), loads[0])
    anion = Bed(Leg.ANION, mixed.anion, vessels[1], leg_volume(whole, 1.0 - share, "a", "anion"), loads[1])
    resin = mixed_resin(request.resin, mixed)
    both = Bed(Leg.WHOLE, resin, request.vessel, whole, both_loads(cation, anion))
    return {Leg.WHOLE: both, Leg.CATION: cation, Leg.ANION: anion}
