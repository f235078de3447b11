"""Backwash separation of a mixed bed: where the interface lies, how far the two resins overlap, what a cut leaves behind.

The model, in the order of the work:

1. Every bead (size and wet density spread, real temperature, water or a denser fluid) has a settling velocity and, in the
   upward flow, forms a layer of a certain density. Two rules say who lies above whom. **Layer order**: layers order by their
   density in the flow. **Settling order**: beads order by settling velocity, the rule of the trade. Where the two differ,
   the larger overlap is shown and the disagreement said.
2. The interface is where the settled cation resin would end if it were pure. Beads that the rule puts on the wrong side
   are the *misplaced* beads; as much cation lies above as anion below.
3. On top comes mixing at the interface: a zone in which the share of the other resin falls off exponentially,
   ½·e^(−y/ℓ), with ℓ = Λ/(1 − 1/R). R is the ratio of the settling velocities of the two median beads, Λ an allowance for
   uneven flow (a proposal, of the size common practice sees; to be fitted to the plant's own separation records).
4. An interface cut takes a zone out, half of it from each side.

In a fluid between the two wet densities the anion floats and the cation sinks: the same rules, with settling
velocities below zero for what rises, and mixing only by the anion that sinks all the same, until the anion is let down
onto the cation again.

Good to a factor of about two: it ranks resins, temperatures, flows and cuts. The separation that was seen decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from regenplant.core.engineering import cross_contamination, separation_flow, separation_heights
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.beds import cross_section_m2
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.fluidization import (
    Bead,
    Fluid,
    expansion_of_classes,
    settling_curve,
    water_fluid,
)
from regenplant.core.engineering.layers import Layers, SettledBed, ordered_bed
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.separation_warnings import separation_warnings
from regenplant.core.errors import OutOfRange

MIXING_ALLOWANCE_M = 0.010
"""Λ: mixing at the interface by uneven flow when the resins part easily; common practice, the plant's records override it."""


class FluidState(StrEnum):
    """What the anion resin does in the fluid."""

    LIFTED = "both resins sink; the upward flow parts them"
    FLOATS = "the anion resin floats, the cation resin sinks"


@dataclass(frozen=True, slots=True)
class SeparationCase:
    """A mixed bed to be separated. Give the expansion of the anion resin or the flow, not both.

    ``cation_m3`` and ``anion_m3`` are settled volumes in the forms being separated [m^3]; ``expansion_frac`` is that of
    the anion resin [-]; without a fluid it is water at ``temperature_kelvin``. ``is_exhausted`` says whether both resins
    were exhausted first. In a fluid that floats the anion there is no flow: expansion and velocity are not used. ``is_let_down`` says that the
    floating anion is then let down onto the cation, where the two touch and mix at the interface again.
    """

    cation: BeadPopulation
    anion: BeadPopulation
    cation_m3: float
    anion_m3: float
    internal_diameter_m: float
    temperature_kelvin: float
    expansion_frac: float | None = None
    velocity_m_per_s: float | None = None
    fluid_density_kg_per_m3: float | None = None
    fluid_viscosity_pascal_s: float | None = None
    is_exhausted: bool = True
    mixing_allowance_m: float = MIXING_ALLOWANCE_M
    is_let_down: bool = False

    def __post_init__(self) -> None:
        require_positive(self.cation_m3, "volume of cation resin", "m³")
        require_positive(self.anion_m3, "volume of anion resin", "m³")
        require_positive(self.internal_diameter_m, "vessel diameter", "m")
        require_within(self.mixing_allowance_m, 0.0, 0.5, "mixing allowance", "m")
        if (self.fluid_density_kg_per_m3 is None) != (self.fluid_viscosity_pascal_s is None):
            raise OutOfRange(
                "A fluid needs both its density and its viscosity; one of them is not given.",
                code="fluid_incomplete",
            )
        if self.expansion_frac is not None and self.velocity_m_per_s is not None:
            raise OutOfRange(
                "Both an expansion and a flow are given; a separation follows from one of them.",
                code="expansion_and_flow",
            )

    @property
    def fluid(self) -> Fluid:
        if self.fluid_density_kg_per_m3 is None or self.fluid_viscosity_pascal_s is None:
            return water_fluid(self.temperature_kelvin)
        return Fluid(self.fluid_density_kg_per_m3, self.fluid_viscosity_pascal_s)


@dataclass(frozen=True, slots=True)
class Separation:
    """What a separation is expected to give, before any cut.

    ``cation_in_anion_frac`` is the share of cation resin in the upper layer, ``anion_in_cation_frac`` that of anion resin
    in the lower one; ``overlap_frac`` the share of the bed in which the two are not apart. ``velocity_ratio`` is below
    zero where the anion rises.
    """

    case: SeparationCase
    state: FluidState
    bed: SettledBed
    velocity: Estimate
    velocity_ratio: Estimate
    end_ratio: Estimate
    interface_height: Estimate
    expanded_interface_height: Estimate
    expanded_height: Estimate
    overlap_frac: Estimate
    cation_in_anion_frac: Estimate
    anion_in_cation_frac: Estimate
    settling_time: Estimate
    layers: Layers
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AfterCut:
    """What an interface cut leaves: the two resins, and the volumes of each in the three layers."""

    cut_frac: float
    cation_in_anion_frac: Estimate
    anion_in_cation_frac: Estimate
    layers: Layers


def sink_or_float(population: BeadPopulation, fluid_density_kg_per_m3: float) -> float:
    """Share of a resin's beads that float in a fluid.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    fluid_density_kg_per_m3 : float
        Density of the fluid [kg/m^3]

    Returns
    -------
    floating_frac : float
        Share of the bead volume lighter than the fluid [-]

    Raises: OutOfRange for a density no fluid here has.
    Source: Archimedes; wet densities spread normally.
    """
    require_within(fluid_density_kg_per_m3, 900.0, 1600.0, "density of the fluid", "kg/m³")
    return separation_flow.floating_share(population, fluid_density_kg_per_m3)


@lru_cache(maxsize=64)
def predict(case: SeparationCase) -> Separation:
    """What a backwash separation, or a float separation in a denser fluid, is expected to give.

    Parameters
    ----------
    case : SeparationCase
        Both resins, their volumes, the vessel, temperature, fluid and flow

    Returns
    -------
    separation : Separation
        Flow, ratio of settling velocities, interface, overlap, misplaced resin, settling time

    Raises: OutOfRange where nothing parts (both float or the cation floats, the anion does not move) or is carried out.
    Source: layer_order, velocity_order, interface_mixing, richardson_zaki, serial_model.
    """
    fluid = case.fluid
    state = _state(case, fluid)
    ratio = separation_flow.velocity_ratio(case.cation, case.anion, fluid)
    velocity = _velocity(case, state, fluid)
    expansions = _expansions(case, state, velocity.value, fluid)
    area = cross_section_m2(case.internal_diameter_m)
    bed = ordered_bed(
        cation=case.cation,
        anion=case.anion,
        cation_depth_m=case.cation_m3 / area,
        anion_depth_m=case.anion_m3 / area,
        velocity_m_per_s=velocity.value,
        fluid=fluid,
        mixing_length_m=separation_flow.mixing_length_m(case.mixing_allowance_m, ratio),
        floating_frac=0.0
        if case.is_let_down
        else separation_flow.floating_share(case.anion, fluid.density_kg_per_m3),
    )
    uncut = bed.cut(0.0)
    interface = separation_heights.interface_height(case.cation_m3, case.internal_diameter_m)
    end_ratio = separation_flow.end_ratio(case.cation, case.anion, fluid)
    return Separation(
        case=case,
        state=state,
        bed=bed,
        velocity=velocity,
        velocity_ratio=ratio,
        end_ratio=end_ratio,
        interface_height=interface,
        expanded_interface_height=separation_heights.expanded_interface(interface, expansions[0]),
        expanded_height=separation_heights.expanded_height(bed, *expansions),
        overlap_frac=cross_contamination.overlap(bed),
        cation_in_anion_frac=cross_contamination.cation_in_anion(uncut),
        anion_in_cation_frac=cross_contamination.anion_in_cation(uncut),
        settling_time=_settling_time(case, state, bed, velocity, expansions, fluid),
        layers=uncut.layers().times(area),
        warnings=separation_warnings(case, bed, ratio, end_ratio, velocity.value, fluid),
    )


def _state(case: SeparationCase, fluid: Fluid) -> FluidState:
    rho = fluid.density_kg_per_m3
    if case.cation.density_kg_per_m3 <= rho:
        raise OutOfRange(
            f"The cation resin ({case.cation.density_kg_per_m3:g} kg/m³) floats in a fluid of {rho:.0f} kg/m³; "
            "the fluid must be lighter than the cation resin. Use a weaker solution.",
            code="cation_floats",
            seen=rho,
            allowed_high=case.cation.density_kg_per_m3,
        )
    return FluidState.FLOATS if case.anion.density_kg_per_m3 <= rho else FluidState.LIFTED


def _velocity(case: SeparationCase, state: FluidState, fluid: Fluid) -> Estimate:
    if state is FluidState.FLOATS:
        return separation_flow.no_flow()
    if case.velocity_m_per_s is not None:
        velocity = separation_flow.given_flow(
            require_positive(case.velocity_m_per_s, "flow on the bed", "m/s")
        )
    elif case.expansion_frac is not None:
        require_within(case.expansion_frac, 0.05, 2.0, "expansion of the anion resin")
        velocity = separation_flow.flow_for_expansion(_median(case.anion), case.expansion_frac, fluid)
    else:
        raise OutOfRange(
            "Neither an expansion of the anion resin nor a flow is given; a separation follows from one of them.",
            code="no_flow_given",
        )
    least = separation_flow.flow_for_expansion(_median(case.anion), 0.0, fluid).value
    most = settling_curve(case.anion, fluid).quantile(0.5)
    if not least <= velocity.value < most:
        raise OutOfRange(
            f"At {velocity.value * 3600:.3g} m/h the anion resin "
            f"{'does not move and nothing parts' if velocity.value < least else 'is carried out of the vessel'}; "
            f"possible here is {least * 3600:.3g} to {most * 3600:.3g} m/h.",
            code="separation_flow",
            seen=velocity.value,
            allowed_low=least,
            allowed_high=most,
        )
    return velocity


def _median(population: BeadPopulation) -> Bead:
    return Bead(population.diameter_m, population.density_kg_per_m3, population.settled_void_frac)


def _expansions(
    case: SeparationCase, state: FluidState, velocity_m_per_s: float, fluid: Fluid
) -> tuple[float, float]:
    """Expansion of the cation and of the anion layer."""
    if state is FluidState.FLOATS:
        return 0.0, 0.0
    return (
        expansion_of_classes(case.cation, velocity_m_per_s, fluid),
        expansion_of_classes(case.anion, velocity_m_per_s, fluid),
    )


def _settling_time(
    case: SeparationCase,
    state: FluidState,
    bed: SettledBed,
    velocity: Estimate,
    expansions: tuple[float, float],
    fluid: Fluid,
) -> Estimate:
    if state is FluidState.FLOATS:
        return separation_heights.parting_time(case.cation, case.anion, bed.depth_m, fluid)
    return separation_heights.settling_time(bed, velocity, *expansions)


def after_cut(separation: Separation, cut_frac: float) -> AfterCut:
    """What is left on both sides when the zone around the interface is taken out.

    Parameters
    ----------
    separation : Separation
        The separation before the cut
    cut_frac : float
        Share of the whole resin volume that is taken out, half from each side of the interface, 0 to 0.9 [-]

    Returns
    -------
    after : AfterCut
        Shares of the other resin in both, and volumes by layer [m^3]

    Raises: OutOfRange for a cut that would take a whole layer.
    Source: as ``predict``; a cut of 2 to 5 % is common practice.
    """
    require_within(cut_frac, 0.0, 0.9, "interface cut")
    bed = separation.bed
    half = cut_frac * bed.depth_m / 2.0
    smaller = min(bed.cation_depth_m, bed.anion_depth_m)
    if half >= 0.98 * smaller:
        raise OutOfRange(
            f"An interface cut of {cut_frac * 100:.3g} % takes all of one resin; "
            f"at most {1.96 * smaller / bed.depth_m * 100:.3g} % can be cut here.",
            code="cut_too_large",
            seen=cut_frac,
            allowed_high=1.96 * smaller / bed.depth_m,
        )
    cut = bed.cut(half)
    return AfterCut(
        cut_frac=cut_frac,
        cation_in_anion_frac=cross_contamination.cation_in_anion(cut),
        anion_in_cation_frac=cross_contamination.anion_in_cation(cut),
        layers=cut.layers().times(cross_section_m2(separation.case.internal_diameter_m)),
    )


def cut_for(separation: Separation, allowed_frac: float) -> Estimate | None:
    """The smallest interface cut that leaves both resins as clean as asked; None where no cut does.

    Parameters
    ----------
    separation : Separation
        The separation before the cut
    allowed_frac : float
        Most of the other resin in either, above 0 to 0.5 [-]

    Returns
    -------
    cut : Estimate or None
        Share of the whole resin volume to take out [-]

    Raises: OutOfRange for a share outside its range.
    Source: as ``predict``.
    """
    require_within(allowed_frac, 1e-5, 0.5, "share of the other resin allowed")
    return cross_contamination.smallest_cut(separation.bed, allowed_frac)
