"""The heavy libraries of the field, each loaded on first use and kept.

numpy, chemicals, fluids and thermo together take half a second and a hundred megabytes. Importing
``regenplant.core`` must stay cheap (pages that do not compute, management commands, the bare prompt), so these
are the only imports inside functions in the core; every other module asks here.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from regenplant.core.errors import OutOfRange


@lru_cache(maxsize=1)
def water_library() -> tuple[Any, Any, Any]:
    """(density by IAPWS-95, viscosity by IAPWS R12-08, ion product by IAPWS R11-07), from chemicals and thermo."""
    from chemicals.iapws import iapws95_rho
    from chemicals.viscosity import mu_IAPWS
    from thermo.electrochem import Kweq_IAPWS

    return iapws95_rho, mu_IAPWS, Kweq_IAPWS


@lru_cache(maxsize=1)
def electrolyte_library() -> Any:
    """The module of electrolyte solutions of thermo (Laliberté's density, viscosity and heat capacity)."""
    import thermo.electrochem

    return thermo.electrochem


@lru_cache(maxsize=1)
def particle_library() -> tuple[Any, Any]:
    """(terminal velocity of a sphere, Ergun pressure drop), from fluids."""
    from fluids.drag import v_terminal
    from fluids.packed_bed import Ergun

    return v_terminal, Ergun


@lru_cache(maxsize=2)
def equilibrium_library(data_file: str = "pitzer.dat") -> Any:
    """A running PHREEQC with one of its data files, from phreeqpython. Not safe for threads: see ``phreeqc_runs``."""
    from phreeqpython import PhreeqPython

    program = PhreeqPython(database=data_file)
    program.ip.run_string(_WATER_ACTIVITY)
    program.ip.raise_string_error = lambda errors: _refuse_no_equilibrium(program, data_file)
    return program


_WATER_ACTIVITY = 'SELECTED_OUTPUT 1\n -reset false\nUSER_PUNCH 1\n -headings aw\n 10 PUNCH LA("H2O")\nEND\n'
"""Every solve then says the logarithm of its water activity, which phreeqpython has no name for."""


def _refuse_no_equilibrium(program: Any, data_file: str) -> None:
    """The program raises a bare exception where it finds no equilibrium; a caller can only handle a refusal."""
    first = program.ip.get_error_string().strip().splitlines()
    raise OutOfRange(
        f"PHREEQC with {data_file} finds no equilibrium here ({first[0].strip() if first else 'no reason given'}). "
        "Take a weaker solution or fewer ions.",
        code="no_equilibrium",
    )


@lru_cache(maxsize=1)
def array_library() -> Any:
    """numpy, which the other libraries bring along."""
    import numpy

    return numpy


def preload() -> None:
    """Load everything once, for a server that would rather wait at start than at the first plan."""
    water_library()
    electrolyte_library()
    particle_library()
    equilibrium_library("pitzer.dat")
    equilibrium_library("phreeqc.dat")
