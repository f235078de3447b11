"""The heavy libraries of the field, each loaded on first use and kept.

numpy, chemicals, fluids and thermo together take half a second and a hundred megabytes. Importing
``regenplant.core`` must stay cheap (pages that do not compute, management commands, the bare prompt), so these
are the only imports inside functions in the core; every other module asks here.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any


@lru_cache(maxsize=1)
def water_library() -> tuple[Any, Any, Any]:
    """(density by IAPWS-95, viscosity by IAPWS R12-08, ion product by IAPWS R11-07), from chemicals and thermo."""
    from chemicals.iapws import iapws95_rho
    from chemicals.viscosity import mu_IAPWS
    from thermo.electrochem import Kweq_IAPWS

    return iapws95_rho, mu_IAPWS, Kweq_IAPWS


@lru_cache(maxsize=1)
def electrolyte_library() -> Any:
    """The module of electrolyte solutions of thermo (Laliberté's density and heat capacity)."""
    import thermo.electrochem

    return thermo.electrochem


@lru_cache(maxsize=1)
def particle_library() -> tuple[Any, Any]:
    """(terminal velocity of a sphere, Ergun pressure drop), from fluids."""
    from fluids.drag import v_terminal
    from fluids.packed_bed import Ergun

    return v_terminal, Ergun


def preload() -> None:
    """Load everything once, for a server that would rather wait at start than at the first plan."""
    water_library()
    electrolyte_library()
    particle_library()
