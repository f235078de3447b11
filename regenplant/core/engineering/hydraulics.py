"""Backwash and downflow of a resin bed: settling, expansion, fluidization, carry-over, pressure drop.

The one place to ask; the work is done in the modules below it:

    single_bead      a bed of beads of one size, closed formulas
    backwash         a whole population: expansion, carry-over, settling time
    backwash_flow    the recommended backwash flow and the limit that governs it
    packed_bed       pressure drop in service and rinse, by two methods
    fluidization     beads in any fluid, as bare numbers

Drag correlations differ by 8 %, the whole expansion model is good to about 15 %; bead size and wet density matter more
(0.05 mm in diameter moves the cation flow 14 %, 1 % in density moves the anion flow 13 %). Temperature is an input
everywhere: the cation backwash flow doubles from 5 to 40 °C.
"""

from regenplant.core.engineering.backwash import (
    carry_over_risk,
    carry_over_velocity,
    expansion_of_population,
    full_fluidization_velocity,
    settling_time,
    velocity_for_population,
)
from regenplant.core.engineering.backwash_flow import (
    BackwashFlows,
    BackwashLimit,
    backwash_flows,
    recommended_backwash,
)
from regenplant.core.engineering.fluidization import (
    MODEL_UNCERTAINTY_FRAC,
    VOID_HIGH_FRAC,
    Bead,
    Fluid,
    khan_richardson_exponent,
    water_fluid,
)
from regenplant.core.engineering.packed_bed import (
    PressureDrop,
    carman_gradient_pascal_per_m,
    pressure_drop,
    pressure_drop_methods,
    pressure_gradient_pascal_per_m,
)
from regenplant.core.engineering.single_bead import (
    archimedes,
    expansion_at_velocity,
    minimum_fluidization_velocity,
    terminal_velocity_m_per_s,
    velocity_for_expansion,
)

__all__ = [
    "MODEL_UNCERTAINTY_FRAC",
    "VOID_HIGH_FRAC",
    "BackwashFlows",
    "BackwashLimit",
    "Bead",
    "Fluid",
    "PressureDrop",
    "archimedes",
    "backwash_flows",
    "carman_gradient_pascal_per_m",
    "carry_over_risk",
    "carry_over_velocity",
    "expansion_at_velocity",
    "expansion_of_population",
    "full_fluidization_velocity",
    "khan_richardson_exponent",
    "minimum_fluidization_velocity",
    "pressure_drop",
    "pressure_drop_methods",
    "pressure_gradient_pascal_per_m",
    "recommended_backwash",
    "settling_time",
    "terminal_velocity_m_per_s",
    "velocity_for_expansion",
    "velocity_for_population",
    "water_fluid",
]
