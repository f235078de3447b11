"""The backwash flow to set, as an answer and not only a check.

It is the lowest of three: the flow of the wanted expansion, the flow at which the expanded bed fills the height it may
fill, and the flow at which the finest and lightest 5 % of the beads leave the bed. The answer says which one governs.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from regenplant.core.engineering.backwash import (
    VALID,
    carry_over_velocity,
    expansion_of_population,
    velocity_for_population,
)
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.fluidization import MODEL_UNCERTAINTY_FRAC, Bead
from regenplant.core.engineering.ranges import require_positive, require_within


class BackwashLimit(StrEnum):
    """What keeps the backwash flow from being higher."""

    TARGET = "wanted expansion"
    HEIGHT = "height of the vessel"
    CARRY_OVER = "loss of the finest and lightest beads"


@dataclass(frozen=True, slots=True)
class BackwashFlows:
    """The three flows, each as the velocity it allows, and the expansion at the recommended one."""

    by_target: Estimate
    by_height: Estimate
    by_carry_over: Estimate
    recommended: Estimate
    expansion: Estimate

    @property
    def governs(self) -> BackwashLimit:
        flows = {
            BackwashLimit.TARGET: self.by_target.value,
            BackwashLimit.HEIGHT: self.by_height.value,
            BackwashLimit.CARRY_OVER: self.by_carry_over.value,
        }
        return min(flows, key=lambda limit: flows[limit])


def _expansion_of_height(depth_m: float, straight_height_m: float, keep_free_frac: float) -> float:
    usable = straight_height_m * (1.0 - keep_free_frac)
    return (usable / depth_m - 1.0) / (1.0 + MODEL_UNCERTAINTY_FRAC)


@lru_cache(maxsize=128)
def backwash_flows(
    beads: Bead | BeadPopulation,
    depth_m: float,
    straight_height_m: float,
    temperature_kelvin: float,
    target_expansion_frac: float,
    keep_free_frac: float,
) -> BackwashFlows:
    """The backwash flow to set, with the three flows it is the lowest of.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin, in the form being backwashed
    depth_m : float
        Settled bed depth, > 0 [m]
    straight_height_m : float
        Straight height of the vessel, > 0 [m]
    temperature_kelvin : float
        Temperature of the backwash water [K]
    target_expansion_frac : float
        Wanted expansion, 0 to 2 [-]
    keep_free_frac : float
        Share of the height kept free of beads, 0 to 0.9 [-]

    Returns
    -------
    flows : BackwashFlows
        Velocities [m/s] and the expansion at the recommended one [-]

    Raises: OutOfRange for a depth or height not above zero, shares outside their range, or beads that float.
    Source: richardson_zaki, serial_model, geometry; the 5 % is common practice.
    """
    require_positive(depth_m, "bed depth", "m")
    require_positive(straight_height_m, "straight height of the vessel", "m")
    require_within(keep_free_frac, 0.0, 0.9, "share of the height kept free")
    fits = _expansion_of_height(depth_m, straight_height_m, keep_free_frac)
    target = velocity_for_population(beads, target_expansion_frac, temperature_kelvin)
    height = velocity_for_population(beads, min(max(fits, 0.0), 2.0), temperature_kelvin).named(
        "u_H", "flow at which the expanded bed fills the height it may fill"
    )
    carry = carry_over_velocity(beads, temperature_kelvin)
    velocity = min(target.value, height.value, carry.value)
    expansion = expansion_of_population(beads, velocity, temperature_kelvin)
    draft = BackwashFlows(target, height, carry, target, expansion)
    recommended = Estimate(
        symbol="u_r",
        name="recommended backwash flow",
        value=velocity,
        unit="m/s",
        kind="velocity",
        formula="lowest of u_E, u_H, u_c",
        inputs=(target.as_input(), height.as_input(), carry.as_input()),
        method=f"governed by the {draft.governs.value}",
        source="richardson_zaki",
        valid=VALID,
        warnings=_limit_warnings(draft, fits, target_expansion_frac, depth_m, straight_height_m),
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )
    return BackwashFlows(target, height, carry, recommended, expansion)


def _limit_warnings(
    flows: BackwashFlows, fits: float, target: float, depth_m: float, height_m: float
) -> tuple[str, ...]:
    reached = (
        f"the bed reaches {flows.expansion.value * 100:.0f} % instead of the wanted {target * 100:.0f} %"
    )
    if fits <= 0.0:
        return (
            f"A bed of {depth_m:.3g} m leaves no room to expand in {height_m:.3g} m: load less resin before backwash.",
        )
    if flows.governs is BackwashLimit.HEIGHT:
        return (f"The vessel has no room for more: {reached}.",)
    if flows.governs is BackwashLimit.CARRY_OVER:
        return (f"More flow would carry off the finest and lightest 5 % of the beads: {reached}.",)
    return ()


def recommended_backwash(
    beads: Bead | BeadPopulation,
    depth_m: float,
    straight_height_m: float,
    temperature_kelvin: float,
    target_expansion_frac: float,
    keep_free_frac: float,
) -> Estimate:
    """The backwash flow to set: that of the wanted expansion, or less where the vessel or the fine beads say so.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin, in the form being backwashed
    depth_m : float
        Settled bed depth, > 0 [m]
    straight_height_m : float
        Straight height of the vessel, > 0 [m]
    temperature_kelvin : float
        Temperature of the backwash water [K]
    target_expansion_frac : float
        Wanted expansion, 0 to 2 [-]
    keep_free_frac : float
        Share of the height kept free of beads, 0 to 0.9 [-]

    Returns
    -------
    velocity : Estimate
        Superficial velocity; ``method`` says which limit governs [m/s]

    Raises: OutOfRange for a depth or height not above zero, shares outside their range, or beads that float.
    Source: as ``backwash_flows``.
    """
    return backwash_flows(
        beads, depth_m, straight_height_m, temperature_kelvin, target_expansion_frac, keep_free_frac
    ).recommended
