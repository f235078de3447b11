"""What each step of a plan sends down the drain: volume, ions, temperature; as planned, and as it was run.

The ions of one spent stream (what one chemical leaves of one bed) are shared out among its steps by volume, so that together they
are what the plan counts, and each share is as neutral as the whole. How they lie within injection, displacement and rinse is not
known to better than that; once all steps are done it no longer matters. The rinse of a joined mixed bed takes part in the streams of
both its legs, by the volumes of their resins: water that carries what they left is never counted as clean, nor as known where
a leg's own is not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

from regenplant.core.engineering import spent
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.errors import OutOfRange
from regenplant.core.process.drains import Drained, drains_of
from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_spent import leg_balances, streams_with_shares
from regenplant.core.process.plan_waste import WasteShare, waste_shares
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import Chemical, Leg

ENDING = "_mol_per_m3"
IONS: tuple[str, ...] = tuple(entry.name.removesuffix(ENDING) for entry in fields(Composition))
"""Totals that are counted, as ``Composition`` names them."""
UNCOUNTED = (Chemical.SODIUM_HYPOCHLORITE, Chemical.PERACETIC_ACID, Chemical.SODIUM_DITHIONITE)
"""Their waste is not counted by ions: what an oxidizer or a reductant has become by then is measured."""


@dataclass(frozen=True, slots=True)
class DrainedStep:
    """What one step drains. ``volume_m3`` is all of it, ``waste_m3`` the part that carries chemical [m^3]."""

    number: int
    drained: Drained
    volume_m3: float
    waste_m3: float
    temperature_kelvin: float
    amounts_mol: Mapping[str, float] = field(default_factory=dict)
    """Ions by total [mol]."""
    by_source: Mapping[int, Mapping[str, float]] = field(default_factory=dict)
    """Of a planned drain: its ions by the number of the step whose chemical left them [mol]."""
    is_known: bool = True
    """Whether its ions are counted at all."""


def planned_drains(plan: BatchPlan) -> dict[int, DrainedStep]:
    """Every draining step of a plan by its number, as planned.

    Parameters
    ----------
    plan : BatchPlan
        A frozen plan

    Returns
    -------
    drains : dict
        By step number; the ions of all steps together are those of the plan's spent streams

    Source: charge_balance, as ``plan_spent``.
    """
    basis = PlanBasis(plan.request)
    shares = waste_shares(basis, plan.steps)
    by_number = {share.step.number: share for share in shares}
    drained = drains_of(plan.steps)
    found: dict[int, DrainedStep] = {}
    for step in plan.steps:
        if step.number not in drained:
            continue
        share = by_number.get(step.number)
        volume = step.figures["volume_m3"].value if "volume_m3" in step.figures else 0.0
        warm = step.figures.get("temperature_kelvin")
        found[step.number] = DrainedStep(
            step.number,
            drained[step.number],
            volume,
            share.volume_m3 if share is not None else 0.0,
            warm.value if warm is not None else basis.water_kelvin(step.water),
        )
    try:
        streams = streams_with_shares(basis, leg_balances(basis, plan.steps), shares)
    except OutOfRange:  # a stream that no model covers: its volume is known, its ions are not
        return {
            number: replace(step, is_known=step.waste_m3 == 0.0 or step.drained is Drained.WATER)
            for number, step in found.items()
        }
    for _, stream, own in streams:
        for share in own:
            chemical = share.chemical.chemical if share.chemical is not None else None
            amounts = amounts_of(stream.composition, share.volume_m3)
            found[share.step.number] = replace(
                found[share.step.number],
                amounts_mol=amounts,
                by_source={share.chemical.number: amounts} if share.chemical is not None else {},
                is_known=chemical not in UNCOUNTED,
            )
    joined = [share for share in shares if share.chemical is None]
    for leg, _, own in streams:
        if leg is not Leg.WHOLE and joined:
            _share_with_joined(basis, leg, own, joined, found)
    return found


def _share_with_joined(
    basis: PlanBasis,
    leg: Leg,
    own: Sequence[WasteShare],
    joined: Sequence[WasteShare],
    found: dict[int, DrainedStep],
) -> None:
    """Moves to the rinse of the joined bed its part of one leg's ions, by volume."""
    beds = {other: basis.bed(other).volume_m3 for other in (Leg.CATION, Leg.ANION)}
    of_leg = beds[leg] / sum(beds.values())
    rinsed_m3 = sum(share.volume_m3 for share in joined) * of_leg
    moved = rinsed_m3 / (rinsed_m3 + sum(share.volume_m3 for share in own))
    for share in own:
        step = found[share.step.number]
        for rinse in joined:
            before = found[rinse.step.number]
            sources = _together(
                before.by_source, _scaled(step.by_source, moved * rinse.volume_m3 * of_leg / rinsed_m3)
            )
            found[rinse.step.number] = replace(
                before,
                amounts_mol=_of_all(sources),
                by_source=sources,
                is_known=before.is_known and step.is_known,
            )
        kept = _scaled(step.by_source, 1.0 - moved)
        found[share.step.number] = replace(step, amounts_mol=_of_all(kept), by_source=kept)


BySource = Mapping[int, Mapping[str, float]]


def _scaled(sources: BySource, factor: float) -> BySource:
    return {
        source: {name: factor * moles for name, moles in part.items()} for source, part in sources.items()
    }


def _together(first: BySource, second: BySource) -> BySource:
    return {
        source: _of_all({0: first.get(source, {}), 1: second.get(source, {})}) for source in {*first, *second}
    }


def _of_all(sources: BySource) -> dict[str, float]:
    """Ions of all sources together [mol]."""
    found: dict[str, float] = {}
    for part in sources.values():
        for name, moles in part.items():
            found[name] = found.get(name, 0.0) + moles
    return found


def amounts_of(composition: Composition, volume_m3: float) -> dict[str, float]:
    """Ions in a volume of known composition, those that are there [mol]; ``volume_m3`` >= 0 [m^3]."""
    found = {name: getattr(composition, f"{name}{ENDING}") * volume_m3 for name in IONS}
    return {name: moles for name, moles in found.items() if moles > 0.0}


def as_run(
    planned: DrainedStep,
    step: PlannedStep,
    *,
    fed_kg_100: float | None = None,
    passed_m3: float | None = None,
    fed_fracs: Mapping[int, float] | None = None,
) -> DrainedStep:
    """What a step drained as it was run.

    Parameters
    ----------
    planned : DrainedStep
        As planned
    step : PlannedStep
        The step of the plan
    fed_kg_100 : float | None
        Chemical that went in, as 100 % [kg]; None: as planned
    passed_m3 : float | None
        What went through the bed [m^3]; None: as planned, of an injection in proportion to the chemical
    fed_fracs : Mapping[int, float] | None
        Of a displacement or rinse: what its chemical's step fed over what was planned, by that step's number; None: as planned

    Returns
    -------
    drained : DrainedStep
        Less than planned brings its ions in proportion, in the water behind it too. More water brings no more ions; more chemical leaves
        with its own step, as it came.

    Source: mass_balance.
    """
    ratio = 1.0
    if step.kind in CHEMICAL_STEPS and fed_kg_100 is not None and step.value("chemical_kg_100") > 0.0:
        ratio = fed_kg_100 / step.value("chemical_kg_100")
    of_volume = passed_m3 / planned.volume_m3 if passed_m3 is not None and planned.volume_m3 > 0.0 else ratio
    volume = planned.volume_m3 * of_volume
    waste = min(planned.waste_m3, volume) if planned.waste_m3 < planned.volume_m3 else volume
    of_waste = waste / planned.waste_m3 if planned.waste_m3 > 0.0 else 1.0
    of_ions = min(ratio if step.kind in CHEMICAL_STEPS else of_waste, 1.0)
    if step.kind in CHEMICAL_STEPS or not planned.by_source:
        amounts = {name: moles * of_ions for name, moles in planned.amounts_mol.items()}
    else:
        of_source = fed_fracs or {}
        parts = {
            source: {
                name: moles * of_ions * min(of_source.get(source, 1.0), 1.0) for name, moles in part.items()
            }
            for source, part in planned.by_source.items()
        }
        amounts = _of_all(parts)
    if (
        step.kind in CHEMICAL_STEPS
        and ratio > 1.0
        and step.chemical is not None
        and "applied_eq" in step.figures
    ):
        more_eq = (ratio - 1.0) * step.value("applied_eq")
        for name, per_eq in spent.brings_mol_per_eq(step.chemical.value).items():
            amounts[name] = amounts.get(name, 0.0) + more_eq * per_eq
    return replace(planned, volume_m3=volume, waste_m3=waste, amounts_mol=amounts)


def split_by_time(ran: DrainedStep, worked_s: Sequence[float]) -> list[DrainedStep]:
    """What a step drained, shared out over stretches of its time: as if it drained evenly while it worked.

    Parameters
    ----------
    ran : DrainedStep
        As it was run
    worked_s : Sequence[float]
        How long it worked in each stretch, none below zero, not all zero [s]

    Returns
    -------
    parts : list
        One for each stretch, in their order; volume, waste and each ion of all parts together are those of the whole, to the last bit

    Raises: OutOfRange for no stretch, a time below zero, or no time at all.
    Source: mass_balance.
    """
    whole_s = sum(worked_s)
    if whole_s <= 0.0 or any(one < 0.0 for one in worked_s):
        raise OutOfRange(
            f"A step is shared out over times not below zero that are not all zero; seen {list(worked_s)} s.",
            code="no_time",
        )
    volumes = _shared(ran.volume_m3, worked_s)
    wastes = _shared(ran.waste_m3, worked_s)
    ions = {name: _shared(moles, worked_s) for name, moles in ran.amounts_mol.items()}
    return [
        replace(
            ran,
            volume_m3=volumes[place],
            waste_m3=wastes[place],
            amounts_mol={name: parts[place] for name, parts in ions.items() if parts[place] > 0.0},
        )
        for place in range(len(worked_s))
    ]


def _shared(amount: float, weights: Sequence[float]) -> list[float]:
    """The amount by these weights. One part after the other is cut off, the larger side rounded: the rest is then exact."""
    parts: list[float] = []
    rest, left = amount, sum(weights)
    for weight in weights[:-1]:
        frac = min(weight / left, 1.0) if left > 0.0 else 0.0
        part = rest - rest * (1.0 - frac) if frac < 0.5 else rest * frac
        parts.append(part)
        rest, left = rest - part, max(left - weight, 0.0)
    return [*parts, rest]
