"""A plan worked out on paper: plain arithmetic, its own constants, nothing of the project but the printed sheet.

Numbers that a person reads off a table or a solved equation (densities, settling velocities, heats of dilution) are read
off the working of the sheet by their symbol. Everything else is worked out here from what the test writes down, and laid
beside the sheet at the end.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from regenplant.core.process.plan import BatchPlan
from tests.core.formula import is_closed

PI = 3.141592653589793
GRAVITY = 9.80665
KG_PER_EQ = {
    "HCl": 0.036461,
    "H2SO4": 0.098079 / 2,
    "NaOH": 0.039997,
    "NaCl": 0.058443,
    "Na2CO3": 0.105988 / 2,
    "NH3": 0.017031,
}
WATER_J_PER_KG_K = 4181.0
HEAT_OF_NEUTRALIZATION_J_PER_EQ = 57000.0
CHLORIDE, SODIUM, SULFATE = 0.035453, 0.022990, 0.04803
MINUTE = 60.0
TOTAL = 0

Place = tuple[int, str]


@dataclass
class Paper:
    """The sheet on the left, the paper on the right; place 0 is the totals."""

    plan: BatchPlan
    found: dict[Place, float] = field(default_factory=dict)

    # --- reading off the sheet ------------------------------------------------------------------------------------
    def _figures(self, step: int) -> dict[str, object]:
        return dict(self.plan.totals if step == TOTAL else self.plan.step(step).figures)

    def read(self, step: int, key: str, symbol: str) -> float:
        """A number printed in the working of a figure."""
        inputs = self._figures(step)[key].inputs  # type: ignore[attr-defined]
        return float(next(entry.value for entry in inputs if entry.symbol == symbol))

    def table(self, step: int, key: str) -> float:
        """A figure that stands in a table or was solved."""
        figure = self._figures(step)[key]
        assert not is_closed(figure), f"{key} can be worked out; do not read it off"  # type: ignore[arg-type]
        return float(figure.value)  # type: ignore[attr-defined]

    # --- writing --------------------------------------------------------------------------------------------------
    def write(self, step: int, **figures: float) -> None:
        for key, value in figures.items():
            self.found[step, key] = value

    def __getitem__(self, place: Place) -> float:
        return self.found[place]

    def compare(self) -> int:
        """Lay both beside each other: every figure that can be worked out stands on the paper and agrees."""
        sheet = {
            (step, key): figure
            for step in (TOTAL, *(entry.number for entry in self.plan.steps))
            for key, figure in self._figures(step).items()
        }
        closed = {place for place, figure in sheet.items() if is_closed(figure)}  # type: ignore[arg-type]
        missing = closed - self.found.keys()
        assert not missing, f"not worked out on paper: {sorted(missing)}"
        for place, value in self.found.items():
            assert sheet[place].value == pytest.approx(value, rel=1e-6, abs=1e-9), place  # type: ignore[attr-defined]
        return len(closed)


def area(diameter: float) -> float:
    return PI * diameter * diameter / 4.0


def load(paper: Paper, step: int, *, volume: float, diameter: float) -> None:
    paper.write(step, bed_depth_m=volume / area(diameter))


def backwash(
    paper: Paper, step: int, *, volume: float, diameter: float, expansion: float, minutes: float, bead: float
) -> None:
    u_t, n = (
        paper.read(step, "linear_velocity_m_per_s", "u_t"),
        paper.read(step, "linear_velocity_m_per_s", "n"),
    )
    void_open = 1.0 - (1.0 - 0.38) / (1.0 + expansion)
    velocity = u_t * void_open**n
    flow = velocity * area(diameter)
    archimedes, mu, rho = (paper.read(step, "minimum_velocity_m_per_s", key) for key in ("Ar", "µ", "ρ_w"))
    paper.write(
        step,
        linear_velocity_m_per_s=velocity,
        flow_m3_per_s=flow,
        flow_bv_per_h=flow * 3600.0 / volume,
        volume_m3=flow * minutes * MINUTE,
        volume_bv=flow * minutes * MINUTE / volume,
        expanded_height_m=volume / area(diameter) * (1.0 + expansion),
        minimum_velocity_m_per_s=((33.7**2 + 0.0408 * archimedes) ** 0.5 - 33.7) * mu / (rho * bead),
        recommended_flow_m3_per_s=paper.table(step, "recommended_velocity_m_per_s") * area(diameter),
    )


def inject(
    paper: Paper,
    step: int,
    *,
    formula: str,
    volume: float,
    diameter: float,
    dose: float,
    strength: float,
    stock: float,
    flow_bv: float,
    load_eq: float | None = None,
    supply: float = 288.15,
    heated_to: float | None = None,
) -> None:
    """Dose to mass, mass to stock and water, volume over flow; the blend's temperature from the enthalpies printed."""
    mass = dose * volume
    stock_kg, diluted_kg = mass / stock, mass / strength
    water_kg = diluted_kg - stock_kg
    diluted = diluted_kg / paper.table(step, "density_kg_per_m3")
    flow = volume * flow_bv / 3600.0
    time = diluted / flow
    stock_m3 = stock_kg / paper.read(step, "stock_m3", "ρ_s")
    water_m3 = water_kg / paper.read(step, "dilution_water_m3", "ρ_w")
    applied = mass / KG_PER_EQ[formula]
    blend = blended(paper, step, strength / stock, supply)
    paper.write(
        step,
        chemical_kg_100=mass,
        unheated_temperature_kelvin=blend,
        applied_eq=applied,
        stock_kg=stock_kg,
        stock_m3=stock_m3,
        dilution_water_kg=water_kg,
        dilution_water_m3=water_m3,
        volume_m3=diluted,
        volume_bv=diluted / volume,
        flow_m3_per_s=flow,
        linear_velocity_m_per_s=flow / area(diameter),
        contact_time_s=time,
        duration_s=time,
        dilution_water_flow_m3_per_s=water_m3 / time,
        stock_flow_m3_per_s=stock_m3 / time,
    )
    if load_eq is not None:
        paper.write(step, regenerant_ratio_frac=applied / load_eq)
    if heated_to is None:
        paper.write(step, temperature_kelvin=blend)
    else:
        _heat(paper, step, strength / stock, heated_to, supply, water_kg / time, time)


def blended(paper: Paper, step: int, share: float, supply: float) -> float:
    key = "unheated_temperature_kelvin"
    heat, c_s, c_b, t_s = (paper.read(step, key, symbol) for symbol in ("H", "c_s", "c_b", "T_s"))
    return (
        298.15
        + (heat + share * c_s * (t_s - 298.15) + (1.0 - share) * WATER_J_PER_KG_K * (supply - 298.15)) / c_b
    )


def _heat(
    paper: Paper, step: int, share: float, wanted: float, supply: float, water_kg_per_s: float, time: float
) -> None:
    """Water is warmed so far that the blend reaches its target."""
    c_b = paper.read(step, "unheated_temperature_kelvin", "c_b")
    with_warm_water = blended(paper, step, share, 298.15)
    water = 298.15 + (wanted - with_warm_water) * c_b / ((1.0 - share) * WATER_J_PER_KG_K)
    duty = water_kg_per_s * WATER_J_PER_KG_K * (water - supply)
    paper.write(
        step,
        dilution_water_temperature_kelvin=water,
        heating_duty_watt=duty,
        heating_energy_joule=duty * time,
    )


def caustic_solids(paper: Paper, step: int) -> None:
    if "caustic_solids_kg" in paper.plan.step(step).figures:
        per_kg = paper.read(step, "caustic_solids_kg_per_m3", "m_z")
        rho = paper.read(step, "caustic_solids_kg_per_m3", "ρ_w")
        paper.write(
            step,
            caustic_solids_kg_per_m3=per_kg * rho,
            caustic_solids_kg=per_kg * rho * paper[step, "dilution_water_m3"],
        )


def rinse(
    paper: Paper,
    step: int,
    *,
    volume: float,
    diameter: float,
    flow_bv: float,
    bed_volumes: float,
    bead: float | None,
) -> None:
    """``bead`` is None where the tanks stand empty: nothing resists the flow."""
    flow = volume * flow_bv / 3600.0
    velocity = flow / area(diameter)
    paper.write(
        step,
        flow_m3_per_s=flow,
        linear_velocity_m_per_s=velocity,
        volume_m3=bed_volumes * volume,
        duration_s=bed_volumes * volume / flow,
    )
    if bead is None:
        return
    mu, rho = (paper.read(step, "pressure_drop_pascal", symbol) for symbol in ("µ", "ρ_w"))
    viscous = 150.0 * mu * velocity * 0.62**2 / (bead**2 * 0.38**3)
    inertial = 1.75 * rho * velocity**2 * 0.62 / (bead * 0.38**3)
    paper.write(step, pressure_drop_pascal=(viscous + inertial) * volume / area(diameter))


# --- totals -----------------------------------------------------------------------------------------------------------
def bed(paper: Paper, *, volume: float, diameter: float, rated: float) -> None:
    paper.write(
        TOTAL, resin_volume_m3=volume, bed_depth_m=volume / area(diameter), bed_fill_frac=volume / rated
    )


def one_chemical(paper: Paper, key: str, *steps: int) -> None:
    for total, figure in (
        ("chemical_kg_100", "chemical_kg_100"),
        ("stock_kg", "stock_kg"),
        ("stock_m3", "stock_m3"),
    ):
        paper.write(TOTAL, **{f"{total}:{key}": sum(paper[step, figure] for step in steps)})


def waste(paper: Paper, *parts: tuple[float, float]) -> float:
    """Volumes with their temperatures."""
    whole = sum(volume for volume, _ in parts)
    mean = sum(volume * kelvin for volume, kelvin in parts) / whole
    paper.write(TOTAL, waste_m3=whole, waste_temperature_kelvin=mean)
    return whole


def neutralizer(paper: Paper, *, excess: float, waste_m3: float, stock: tuple[float, float]) -> None:
    """Nine tenths, a measured pH, and at most the rest. ``stock`` is strength and density of what is given."""
    amount = abs(excess)
    weight = KG_PER_EQ["NaOH"] if excess >= 0.0 else KG_PER_EQ["HCl"]
    density_20 = 998.207  # water at 20 °C, IAPWS
    paper.write(
        TOTAL,
        excess_eq=excess,
        neutralizer_first_eq=0.9 * amount,
        neutralizer_second_eq=0.1 * amount,
        neutralizer_first_kg_100=0.9 * amount * weight,
        neutralizer_second_kg_100=0.1 * amount * weight,
        neutralization_rise_kelvin=amount
        * HEAT_OF_NEUTRALIZATION_J_PER_EQ
        / (waste_m3 * density_20 * 4050.0),
    )
    if amount > 0.0:
        strength, density = stock
        paper.write(
            TOTAL,
            neutralizer_first_stock_m3=0.9 * amount * weight / (strength * density),
            neutralizer_second_stock_m3=0.1 * amount * weight / (strength * density),
        )


def outlook(paper: Paper, *, dose: float, formula: str, end: str = "") -> None:
    """Efficiency: capacity off the table per equivalent applied."""
    applied = dose / KG_PER_EQ[formula]
    paper.write(
        TOTAL,
        **{
            f"expected_efficiency_frac{end}": paper.table(TOTAL, f"expected_capacity_eq_per_m3{end}")
            / applied
        },
    )


def stock_density(paper: Paper, key: str = "neutralizer_first_stock_m3") -> float:
    return paper.read(TOTAL, key, "ρ_s")


def sampled(paper: Paper, minutes: float, *steps: int) -> float:
    """Time of the steps that are worked out, and of those that the recipe sets."""
    return sum(paper[step, "duration_s"] for step in steps) + minutes * MINUTE
