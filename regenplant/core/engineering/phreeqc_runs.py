"""One solve of PHREEQC at a time: the solution is made, read and released.

Pitzer activities (``pitzer.dat``) hold at the strengths of regenerants; ``phreeqc.dat`` holds to about 0.5 mol/kg and is
asked beside it where the two are compared. A solve takes about 0.2 ms.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock
from typing import Any, TypeVar

from regenplant.core.engineering.libraries import equilibrium_library
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.substances import substance

PITZER, DEBYE_HUECKEL = "pitzer.dat", "phreeqc.dat"
LOW_KELVIN, HIGH_KELVIN = 273.15, 353.15
NOTHING_MOL_PER_KG = 1e-9
"""A total below this is left out."""

_LOCK = Lock()
"""A running PHREEQC keeps one state: one thread at a time."""
_Answer = TypeVar("_Answer")


def solved(contents: dict[str, Any], data_file: str, read: Callable[[Any], _Answer]) -> _Answer:
    """What ``read`` takes from the solution with these contents; the solution is released afterwards.

    Parameters
    ----------
    contents : dict
        Lines of PHREEQC's SOLUTION block: units, temp [degC], pH, and totals by element
    data_file : str
        ``PITZER`` or ``DEBYE_HUECKEL``
    read : callable
        Takes the solution of phreeqpython and gives the answer

    Raises: OutOfRange where PHREEQC finds no equilibrium.
    """
    with _LOCK:
        program = equilibrium_library(data_file)
        try:
            return read(program.add_solution(contents))
        finally:  # by number, because a solution that found no equilibrium is kept too
            program.remove_solutions([program.solution_counter])


def log_water_activity(solution: Any) -> float:
    """log10 of the activity of water in a solution that was just made, within ``solved``.

    Parameters
    ----------
    solution : Solution
        Of phreeqpython, not changed since it was made

    Returns
    -------
    log_activity : float
        0 in pure water, below it in any solution [-]
    """
    return float(solution.pp.ip.get_selected_output_array()[-1][0])


def gypsum_index(solution: Any) -> float:
    """Saturation index of CaSO4·2H2O in a solution that was just made, within ``solved``.

    Parameters
    ----------
    solution : Solution
        Of phreeqpython, not changed since it was made

    Returns
    -------
    index : float
        log10 of ion product over solubility product; phreeqpython's own leaves the two waters out, up to 0.04 in 10 % acid [-]
    """
    return float(solution.si("Gypsum")) + 2.0 * log_water_activity(solution)


def molality_mol_per_kg(chemical: str, strength_frac: float) -> float:
    """Amount of substance per mass of water.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution, below 1 [-]

    Returns
    -------
    molality : float
        Molality [mol/kg]
    """
    return strength_frac / (1.0 - strength_frac) / substance(chemical).molar_mass_kg_per_mol


def require_temperature(temperature_kelvin: float) -> None:
    """Nothing, for a temperature at which the data file answers.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature [K]

    Raises: OutOfRange outside 0 to 80 °C.
    """
    require_within(temperature_kelvin, LOW_KELVIN, HIGH_KELVIN, "temperature", "K", "That is 0 to 80 °C.")
