"""Spent regenerant of a batch: equivalents and excess of each leg, its composition, and all of it in one tank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from regenplant.core.engineering import neutralization, regenerants, spent
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.held_ions import HeldIons, held_ions
from regenplant.core.engineering.spent import SpentStream
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_regenerants import regenerating_steps
from regenplant.core.process.plan_sums import summed
from regenplant.core.process.plan_waste import WasteShare, mean_kelvin
from regenplant.core.process.vocabulary import Leg, ResinFamily


@dataclass(frozen=True)
class LegBalance:
    """What was brought to one bed and what it gave up."""

    bed: Bed
    steps: tuple[PlannedStep, ...]
    """Injections that regenerate it, in order; all of one character."""
    applied: Estimate
    ratio: Estimate
    excess: Estimate

    @property
    def leg(self) -> Leg:
        return self.bed.leg


def leg_balances(basis: PlanBasis, steps: Sequence[PlannedStep]) -> tuple[LegBalance, ...]:
    """One balance for each bed that is regenerated."""
    found = []
    for bed in basis.beds:
        numbers = {number for number, _ in regenerating_steps(basis.request.recipe, bed.leg)}
        own = tuple(step for step in steps if step.number in numbers)
        if own:
            found.append(_balance(bed, own))
    return tuple(found)


def _balance(bed: Bed, steps: tuple[PlannedStep, ...]) -> LegBalance:
    assert steps[-1].chemical is not None
    applied = summed(
        "n_a", "equivalents applied", [(step.name, step.figures["applied_eq"]) for step in steps]
    )
    character = substance(steps[-1].chemical.value).character
    return LegBalance(
        bed,
        steps,
        applied,
        regenerants.regenerant_ratio(applied, bed.load),
        neutralization.excess(
            applied, bed.load, character, holds_weak_acids=bed.resin.family is not ResinFamily.WBA
        ),
    )


def balance_figures(balances: Sequence[LegBalance]) -> dict[str, Estimate]:
    """Applied, eluted, ratio and excess; of a mixed bed by leg, as ``applied_eq:cation``."""
    found: dict[str, Estimate] = {}
    for balance in balances:
        end = "" if balance.leg is Leg.WHOLE else f":{balance.leg.value}"
        found[f"applied_eq{end}"] = balance.applied
        found[f"regenerant_ratio_frac{end}"] = balance.ratio
        found[f"excess_eq{end}"] = balance.excess
        found[f"eluted_eq{end}"] = balance.bed.load
    return found


def net_excess(balances: Sequence[LegBalance], steps: Sequence[PlannedStep]) -> Estimate | None:
    """Acid (+) or alkali (−) left of the whole batch: of the regenerated beds, and of what only cleaned or exhausted.

    None where neither acid, base nor salt was brought.
    """
    counted = {step.number for balance in balances for step in balance.steps}
    parts = [(f"the {balance.leg.label}", balance.excess) for balance in balances]
    for step in steps:
        if step.number not in counted and "applied_eq" in step.figures and step.chemical is not None:
            parts.append((step.name, _carried_through(step)))
    if not parts:
        return None
    if len(parts) == 1:
        return parts[0][1]
    inputs = tuple(
        Input(f"n_{index}", f"{label}: excess acid (+) or alkali (−)", part.value, "eq", "equivalents")
        for index, (label, part) in enumerate(parts, start=1)
    )
    return Estimate(
        symbol="n_x",
        name="excess acid (+) or alkali (−) of all spent regenerant together",
        value=sum(entry.value for entry in inputs),
        unit="eq",
        kind="equivalents",
        formula=" + ".join(entry.symbol for entry in inputs),
        inputs=inputs,
        method="charge balance over the batch",
        source="charge_balance",
        valid="strong acid and base, all in one tank",
        warnings=tuple(dict.fromkeys(warning for _, part in parts for warning in part.warnings)),
    )


def _carried_through(step: PlannedStep) -> Estimate:
    """A chemical that regenerates nothing leaves as it came."""
    assert step.chemical is not None
    nothing = step.figures["applied_eq"].named("n_e", "taken up by the resin")
    return neutralization.excess(
        step.figures["applied_eq"],
        replace(nothing, value=0.0),
        substance(step.chemical.value).character,
        holds_weak_acids=False,  # whether the resin takes any is counted where it is regenerated
    )


# --- composition ----------------------------------------------------------------------------------------------------
_NOTHING_HELD = HeldIons(sodium_frac=1.0)
_NO_ANIONS_HELD = HeldIons(chloride_frac=1.0)


@dataclass(frozen=True)
class SpentStreams:
    """The spent streams of a batch by leg, and all of them in one tank; None where no figure can be given."""

    by_leg: Mapping[Leg, SpentStream]
    together: SpentStream | None
    refusal: str = ""


def spent_streams(
    basis: PlanBasis, balances: Sequence[LegBalance], shares: Sequence[WasteShare]
) -> SpentStreams:
    """What leaves each bed and what stands in the tank when all of it is together.

    A stream that cannot be predicted (too strong, too warm) leaves out every figure that depends on it; ``refusal``
    says why.
    """
    by_leg: dict[Leg, list[SpentStream]] = {}
    try:
        for leg, stream, _ in streams_with_shares(basis, balances, shares):
            by_leg.setdefault(leg, []).append(stream)
        legs = {leg: _one(streams) for leg, streams in by_leg.items()}
        together = _one([stream for streams in by_leg.values() for stream in streams]) if by_leg else None
    except OutOfRange as refusal:
        return SpentStreams({}, None, refusal.message)
    return SpentStreams(legs, together)


def _one(streams: Sequence[SpentStream]) -> SpentStream:
    return streams[0] if len(streams) == 1 else spent.pour_together(streams)


def streams_with_shares(
    basis: PlanBasis, balances: Sequence[LegBalance], shares: Sequence[WasteShare]
) -> list[tuple[Leg, SpentStream, tuple[WasteShare, ...]]]:
    """Each spent stream with its leg and the steps that bring it. Raises: OutOfRange for one that cannot be predicted."""
    found: list[tuple[Leg, SpentStream, tuple[WasteShare, ...]]] = []
    taken: set[int] = set()
    for balance in balances:
        numbers = {step.number for step in balance.steps}
        own = [share for share in shares if share.chemical is not None and share.chemical.number in numbers]
        taken.update(share.step.number for share in own)
        if own:
            found.append((balance.leg, _regenerated(basis, balance, own), tuple(own)))
    rest: dict[int, list[WasteShare]] = {}
    for share in shares:
        if share.step.number not in taken:
            rest.setdefault(share.chemical.number if share.chemical else 0, []).append(share)
    for own in rest.values():
        found.append((own[0].step.leg, _passed_through(own), tuple(own)))
    return found


def _volume(shares: Sequence[WasteShare], name: str) -> Estimate:
    inputs = tuple(
        Input(f"V_{index}", share.step.name, share.volume_m3, "m^3", "liquid_volume")
        for index, share in enumerate(shares, start=1)
    )
    return Estimate(
        "V_x", f"volume of the {name}", sum(entry.value for entry in inputs), "m^3", "liquid_volume",
        " + ".join(entry.symbol for entry in inputs), inputs, "sum over the steps", "mass_balance",
    )  # fmt: skip


def _regenerated(basis: PlanBasis, balance: LegBalance, shares: Sequence[WasteShare]) -> SpentStream:
    chemical = balance.steps[-1].chemical
    assert chemical is not None
    held = held_ions(balance.bed.resin.family.value, basis.request.feed)
    volume = _volume(shares, f"spent {chemical.formula}")
    stream = spent.spent_stream(
        chemical.value, balance.applied, balance.bed.load, held, volume, mean_kelvin(shares)
    )
    return replace(stream, name=f"spent {chemical.formula}")


def _passed_through(shares: Sequence[WasteShare]) -> SpentStream:
    """Chemical that took nothing off the resin, or plain rinse water."""
    source, kelvin = shares[0].chemical, mean_kelvin(shares)
    if source is None or source.chemical is None or "applied_eq" not in source.figures:
        name = (
            source.chemical.formula if source is not None and source.chemical is not None else "rinse water"
        )
        return spent.known_stream(name, Composition(), _volume(shares, name), kelvin)
    chemical, applied = source.chemical, source.figures["applied_eq"]
    nothing = replace(applied.named("n_e", "load that comes off the resin"), value=0.0)
    held = _NO_ANIONS_HELD if chemical.is_base else _NOTHING_HELD
    volume = _volume(shares, f"spent {chemical.formula}")
    stream = spent.spent_stream(chemical.value, applied, nothing, held, volume, kelvin)
    return replace(stream, name=f"spent {chemical.formula}")
