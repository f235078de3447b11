"""Rinse: how far the regenerant is displaced, and how long the tail takes to its endpoint.

Displacement is a front (tanks in series); what is left leaves in a tail that falls by a factor of ten every s bed
volumes until it meets a floor. Where the floor lies above the endpoint, no rinse reaches it: the answer is "never".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import root
from regenplant.core.engineering.ranges import require_positive, require_within

ACCESSIBLE_BV = 0.70
"""Void and pore water that a displacement must replace, bed volumes: 0.6 to 0.8 common practice."""
STAGES = 10
"""Tanks in series of a decent distributor (Péclet 20 to 60); common practice."""


def displaced_fraction(
    bed_volumes_bv: float, stages: int = STAGES, accessible_bv: float = ACCESSIBLE_BV
) -> Estimate:
    """Concentration left at the outlet over that at the start of displacement.

    Parameters
    ----------
    bed_volumes_bv : float
        Water passed, >= 0 [-]
    stages : int
        Tanks in series, 1 to 200 [-]
    accessible_bv : float
        Void and pore volume per bed volume, 0.3 to 1 [-]

    Returns
    -------
    fraction : Estimate
        C/C₀ at the outlet, 1 falling to 0 [-]

    Raises: OutOfRange for arguments outside their range.
    Source: tanks_in_series.
    """
    require_within(bed_volumes_bv, 0.0, 1000.0, "bed volumes passed")
    require_within(stages, 1, 200, "number of stages")
    require_within(accessible_bv, 0.3, 1.0, "accessible volume", "BV")
    return Estimate(
        symbol="C/C_0",
        name="regenerant left at the outlet, share of its start",
        value=_front(bed_volumes_bv, stages, accessible_bv),
        unit="dimensionless",
        kind="fraction",
        formula="sum of e^(−N·θ)·(N·θ)^i / i! for i from 0 to N − 1, with θ = B / φ",
        inputs=(
            Input("B", "bed volumes passed", bed_volumes_bv, "dimensionless", "bed_volumes"),
            Input("N", "tanks in series", float(stages), "dimensionless", "count"),
            Input("φ", "void and pore volume per bed volume", accessible_bv, "dimensionless", "bed_volumes"),
        ),
        method="tanks in series",
        source="tanks_in_series",
        valid="plug flow with dispersion; no exchange, no dead legs",
    )


def _front(bed_volumes_bv: float, stages: int, accessible_bv: float) -> float:
    x = stages * bed_volumes_bv / accessible_bv
    term = math.exp(-x)
    if term == 0.0:
        return 0.0
    total = term
    for index in range(1, stages):
        term *= x / index
        total += term
    return min(total, 1.0)


def displaced_fraction_dispersion(
    bed_volumes_bv: float, peclet: float, accessible_bv: float = ACCESSIBLE_BV
) -> Estimate:
    """The same by axial dispersion (Ogata and Banks), an alternative to tanks in series.

    Parameters
    ----------
    bed_volumes_bv : float
        Water passed, > 0 [-]
    peclet : float
        Bed depth times pore velocity over dispersion, 1 to 600; 20 to 60 for a decent distributor [-]
    accessible_bv : float
        Void and pore volume per bed volume, 0.3 to 1 [-]

    Returns
    -------
    fraction : Estimate
        C/C₀ at the outlet, 1 falling to 0 [-]

    Raises: OutOfRange for arguments outside their range.
    Source: ogata_banks.
    """
    require_within(bed_volumes_bv, 1e-6, 1000.0, "bed volumes passed")
    require_within(peclet, 1.0, 600.0, "Péclet number")
    require_within(accessible_bv, 0.3, 1.0, "accessible volume", "BV")
    theta = bed_volumes_bv / accessible_bv
    width = 2.0 * math.sqrt(theta / peclet)
    arrived = 0.5 * math.erfc((1.0 - theta) / width) + 0.5 * math.exp(peclet) * math.erfc(
        (1.0 + theta) / width
    )
    return Estimate(
        symbol="C/C_0",
        name="regenerant left at the outlet, share of its start",
        value=max(1.0 - arrived, 0.0),
        unit="dimensionless",
        kind="fraction",
        formula="1 − (erfc((1 − θ) / (2 · (θ / Pe)^0.5)) + e^Pe · erfc((1 + θ) / (2 · (θ / Pe)^0.5))) / 2 (closed form)",
        inputs=(
            Input("θ", "bed volumes passed over accessible volume", theta, "dimensionless", "ratio"),
            Input("Pe", "Péclet number of the bed", peclet, "dimensionless", "ratio"),
        ),
        method="axial dispersion, semi-infinite bed",
        source="ogata_banks",
        valid="step change, no exchange",
    )


def displacement_volume(
    left_frac: float, stages: int = STAGES, accessible_bv: float = ACCESSIBLE_BV
) -> Estimate:
    """Bed volumes that bring the outlet down to a share of the regenerant's strength.

    Parameters
    ----------
    left_frac : float
        Share left at the outlet, 0.0001 to 0.99 [-]
    stages : int
        Tanks in series, 1 to 200 [-]
    accessible_bv : float
        Void and pore volume per bed volume, 0.3 to 1 [-]

    Returns
    -------
    bed_volumes : Estimate
        Water to pass [-]

    Raises: OutOfRange for arguments outside their range.
    Source: tanks_in_series.
    """
    require_within(left_frac, 1e-4, 0.99, "share left")
    require_within(stages, 1, 200, "number of stages")
    require_within(accessible_bv, 0.3, 1.0, "accessible volume", "BV")
    value = root(lambda bv: _front(bv, stages, accessible_bv) - left_frac, 0.0, 20.0 * accessible_bv, 1e-10)
    return Estimate(
        symbol="B_d",
        name="displacement, bed volumes",
        value=value,
        unit="dimensionless",
        kind="bed_volumes",
        formula="solve C/C_0 = x for B",
        inputs=(
            Input("x", "share left at the outlet", left_frac, "dimensionless", "fraction"),
            Input("N", "tanks in series", float(stages), "dimensionless", "count"),
            Input("φ", "void and pore volume per bed volume", accessible_bv, "dimensionless", "bed_volumes"),
        ),
        method="tanks in series",
        source="tanks_in_series",
        valid="plug flow with dispersion; no exchange, no dead legs",
    )


def tail_conductivity(
    bed_volumes_bv: float, start_siemens_per_m: float, floor_siemens_per_m: float, decade_bv: float
) -> Estimate:
    """Conductivity in the rinse tail.

    Parameters
    ----------
    bed_volumes_bv : float
        Water passed since the tail began, >= 0 [-]
    start_siemens_per_m : float
        Conductivity at the start, floor included, at least the floor [S/m]
    floor_siemens_per_m : float
        Conductivity that the tail approaches, >= 0 [S/m]
    decade_bv : float
        Bed volumes per factor of ten, > 0 [-]

    Returns
    -------
    conductivity : Estimate
        Conductivity at 25 °C [S/m]

    Raises: OutOfRange for arguments outside their range.
    Source: rinse_tail.
    """  # fmt: skip
    require_within(bed_volumes_bv, 0.0, 1000.0, "bed volumes passed")
    require_positive(start_siemens_per_m, "start of the tail", "S/m")
    require_within(
        floor_siemens_per_m, 0.0, start_siemens_per_m, "floor of the tail", "S/m", "It lies below the start."
    )
    require_positive(decade_bv, "bed volumes per decade")
    return Estimate(
        symbol="κ",
        name="conductivity of the rinse water at 25 °C",
        value=(start_siemens_per_m - floor_siemens_per_m) * 10.0 ** (-bed_volumes_bv / decade_bv)
        + floor_siemens_per_m,
        unit="S/m",
        kind="conductivity",
        formula="(κ_s − κ_f) · 10^(−B / s) + κ_f",
        inputs=(
            Input("κ_s", "start of the tail", start_siemens_per_m, "S/m", "conductivity"),
            Input("B", "bed volumes passed", bed_volumes_bv, "dimensionless", "bed_volumes"),
            Input("s", "bed volumes per factor of ten", decade_bv, "dimensionless", "bed_volumes"),
            Input("κ_f", "floor of the tail", floor_siemens_per_m, "S/m", "conductivity"),
        ),
        method="exponential tail with a floor",
        source="rinse_tail",
        valid="after displacement; s is 0.7 to 1.5 for fresh resin, above 2.5 for fouled anion (common practice)",
    )


@dataclass(frozen=True, slots=True)
class RinseEnd:
    """When a rinse reaches its endpoint. ``bed_volumes`` is None when it never does; ``sentence`` says why."""

    bed_volumes: Estimate | None
    sentence: str

    @property
    def is_reached(self) -> bool:
        return self.bed_volumes is not None


def rinse_to_endpoint(
    start_siemens_per_m: float, floor_siemens_per_m: float, endpoint_siemens_per_m: float, decade_bv: float
) -> RinseEnd:
    """Bed volumes from the start of the tail to an endpoint, or never.

    Parameters
    ----------
    start_siemens_per_m : float
        Conductivity at the start of the tail, floor included, > 0 [S/m]
    floor_siemens_per_m : float
        Conductivity that the tail approaches, >= 0 [S/m]
    endpoint_siemens_per_m : float
        Conductivity to reach, > 0 [S/m]
    decade_bv : float
        Bed volumes per factor of ten, > 0 [-]

    Returns
    -------
    end : RinseEnd
        Bed volumes, or None when the floor is at or above the endpoint

    Raises: OutOfRange for arguments outside their range.
    Source: rinse_tail.
    """
    require_positive(start_siemens_per_m, "start of the tail", "S/m")
    require_within(floor_siemens_per_m, 0.0, 100.0, "floor of the tail", "S/m")
    require_positive(endpoint_siemens_per_m, "endpoint", "S/m")
    require_positive(decade_bv, "bed volumes per decade")
    shown = f"{endpoint_siemens_per_m * 1e4:.4g} µS/cm"
    if floor_siemens_per_m >= endpoint_siemens_per_m:
        return RinseEnd(
            None,
            f"Never: the tail levels out at {floor_siemens_per_m * 1e4:.4g} µS/cm and the endpoint is {shown}. "
            "Look for a leaking valve, the rinse water itself, or cross-contaminated resin.",
        )
    inputs = (
        Input("s", "bed volumes per factor of ten", decade_bv, "dimensionless", "bed_volumes"),
        Input("κ_s", "start of the tail", start_siemens_per_m, "S/m", "conductivity"),
        Input("κ_f", "floor of the tail", floor_siemens_per_m, "S/m", "conductivity"),
        Input("κ_e", "endpoint", endpoint_siemens_per_m, "S/m", "conductivity"),
    )
    there = start_siemens_per_m <= endpoint_siemens_per_m
    value = 0.0
    if not there:
        value = decade_bv * math.log10(
            (start_siemens_per_m - floor_siemens_per_m) / (endpoint_siemens_per_m - floor_siemens_per_m)
        )
    bed_volumes = Estimate(
        symbol="B_e",
        name="rinse to the endpoint, bed volumes",
        value=value,
        unit="dimensionless",
        kind="bed_volumes",
        formula="0 · s" if there else "s · log10((κ_s − κ_f) / (κ_e − κ_f))",
        inputs=inputs,
        method="exponential tail with a floor",
        source="rinse_tail",
        valid="forecast at most one factor of ten beyond the last reading",
    )
    return RinseEnd(bed_volumes, f"{value:.2f} BV to {shown}.")


def rinse_volume(bed_volumes: Estimate, resin_volume_m3: float) -> Estimate:
    """Rinse water from bed volumes.

    Parameters
    ----------
    bed_volumes : Estimate
        Bed volumes to pass [-]
    resin_volume_m3 : float
        Resin volume in its reference form, > 0 [m^3]

    Returns
    -------
    volume : Estimate
        Volume of rinse water [m^3]

    Raises: OutOfRange for a volume that is not above zero.
    """
    require_positive(resin_volume_m3, "resin volume", "m³")
    return Estimate(
        symbol="V",
        name="volume of rinse water",
        value=bed_volumes.value * resin_volume_m3,
        unit="m^3",
        kind="liquid_volume",
        formula=f"{bed_volumes.symbol} · V_r",
        inputs=(
            bed_volumes.as_input(),
            Input("V_r", "resin volume, settled, reference form", resin_volume_m3, "m^3", "resin_volume"),
        ),
        method="definition of the bed volume",
        source="mass_balance",
    )
