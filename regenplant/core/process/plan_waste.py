"""What goes to the waste tank: which volumes, from which chemical, how warm.

Injections, displacements, rinses between chemicals and sanitizer go there whole; of a fast rinse the first bed volumes,
as long as chemical came before it. Backwash, separation and drained water do not, nor water that goes round in a loop.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import Leg, StepKind

_WHOLLY = (*CHEMICAL_STEPS, StepKind.DISPLACE, StepKind.RINSE)


@dataclass(frozen=True, slots=True)
class WasteShare:
    """What one step sends to the waste tank."""

    step: PlannedStep
    volume_m3: float
    temperature_kelvin: float
    chemical: PlannedStep | None
    """The step whose chemical it carries; None for rinse water of a joined bed."""


def waste_shares(basis: PlanBasis, steps: Sequence[PlannedStep]) -> tuple[WasteShare, ...]:
    """Every step that sends something to the waste tank, in order."""
    found: list[WasteShare] = []
    carried: dict[Leg, PlannedStep] = {}
    unrinsed = False
    for step in steps:
        if step.kind is StepKind.JOIN:
            carried = {}  # each leg is rinsed; the joined bed carries no single chemical any more
        if step.kind in CHEMICAL_STEPS:
            carried[step.leg], unrinsed = step, True
        volume = _volume_m3(basis, step) if unrinsed else 0.0
        if step.kind is StepKind.FAST_RINSE:
            unrinsed = False
        if volume > 0.0:
            warm = step.figures.get("temperature_kelvin")
            kelvin = warm.value if warm is not None else basis.water_kelvin(step.water)
            found.append(WasteShare(step, volume, kelvin, carried.get(step.leg)))
    return tuple(found)


def _volume_m3(basis: PlanBasis, step: PlannedStep) -> float:
    if step.kind in _WHOLLY:
        return step.value("volume_m3")
    if step.kind is StepKind.FAST_RINSE:
        most = basis.request.limits.rinse_to_waste_bv
        return min(step.value("volume_bv"), most) * basis.bed(step.leg).volume_m3
    return 0.0


def waste_volume(basis: PlanBasis, shares: Sequence[WasteShare]) -> Estimate:
    """Volume to the waste tank."""
    inputs = tuple(
        Input(f"V_{index}", f"{share.step.name}: to the waste tank", share.volume_m3, "m^3", "liquid_volume")
        for index, share in enumerate(shares, start=1)
    )
    return Estimate(
        symbol="V_x",
        name="volume to the waste tank",
        value=sum(entry.value for entry in inputs),
        unit="m^3",
        kind="liquid_volume",
        formula=" + ".join(entry.symbol for entry in inputs) or "nothing goes to the waste tank",
        inputs=inputs,
        method="injection, displacement and the first part of the fast rinse",
        source="trade_practice",
        valid=f"the first {basis.request.limits.rinse_to_waste_bv:g} BV of the fast rinse; more if its pH is not yet inside",
    )


def waste_temperature(shares: Sequence[WasteShare]) -> Estimate:
    """Temperature of the mixed waste, by volume: warm caustic with the water that follows it."""
    inputs: list[Input] = []
    for index, share in enumerate(shares, start=1):
        name = share.step.name
        inputs.append(
            Input(f"V_{index}", f"{name}: to the waste tank", share.volume_m3, "m^3", "liquid_volume")
        )
        inputs.append(
            Input(f"T_{index}", f"{name}: temperature", share.temperature_kelvin, "kelvin", "temperature")
        )
    volumes, kelvins = inputs[0::2], inputs[1::2]
    weighted = " + ".join(f"{v.symbol} · {t.symbol}" for v, t in zip(volumes, kelvins, strict=True))
    whole = " + ".join(entry.symbol for entry in volumes)
    return Estimate(
        symbol="T_x",
        name="temperature of the mixed waste",
        value=mean_kelvin(shares),
        unit="kelvin",
        kind="temperature",
        formula=f"({weighted}) / ({whole})",
        inputs=tuple(inputs),
        method="mixing by volume",
        source="mass_balance",
        valid="equal heat capacity per volume, no loss; what stands in the tank is not counted",
    )


def mean_kelvin(shares: Sequence[WasteShare]) -> float:
    """Temperature of some of the waste by volume [K]."""
    whole = sum(share.volume_m3 for share in shares)
    return sum(share.volume_m3 * share.temperature_kelvin for share in shares) / whole
