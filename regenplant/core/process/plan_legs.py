"""Two legs at once: how long they take, whether acid and caustic balance, and what happens where they meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant.core.engineering import neutralization_heat
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_sums import summed
from regenplant.core.process.vocabulary import Leg

_PARALLEL = (Leg.CATION, Leg.ANION)


def duration_totals(steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    """Time of the batch: the steps of the whole bed one after the other, of the two legs the longer."""
    by_leg = {leg: [step for step in steps if step.leg is leg] for leg in Leg}
    if not any(by_leg[leg] for leg in _PARALLEL):
        return {"duration_s": summed("t", "time of all steps", _times(steps))}
    found: dict[str, Estimate] = {}
    for leg, symbol in ((Leg.CATION, "t_c"), (Leg.ANION, "t_a")):
        if by_leg[leg]:
            found[f"duration_s:{leg.value}"] = summed(symbol, f"time of the {leg.label}", _times(by_leg[leg]))
    longer = max(found.values(), key=lambda total: total.value)
    found["duration_s"] = _parallel(by_leg[Leg.WHOLE], longer, tuple(found.values()))
    return found


def _times(steps: Sequence[PlannedStep]) -> list[tuple[str, Estimate]]:
    return [(step.name, step.figures["duration_s"]) for step in steps]


def _parallel(whole: Sequence[PlannedStep], longer: Estimate, legs: tuple[Estimate, ...]) -> Estimate:
    parts = tuple(
        Input(f"t_{index}", f"{step.name}: time", step.value("duration_s"), "s", "duration")
        for index, step in enumerate(whole, start=1)
    )
    others = tuple(leg.as_input() for leg in legs)
    return Estimate(
        symbol="t",
        name="time of all steps, the two legs at the same time",
        value=sum(part.value for part in parts) + longer.value,
        unit="s",
        kind="duration",
        formula=" + ".join((*(part.symbol for part in parts), longer.symbol)),
        inputs=(*parts, *others),
        method=f"steps of the whole bed one after the other, then the longer leg: {longer.name.removeprefix('time of the ')}",
        source="mass_balance",
        valid="both legs start together and nobody waits",
    )


def balance_totals(
    regenerating: Mapping[Leg, Sequence[PlannedStep]], applied: Mapping[Leg, Estimate]
) -> dict[str, Estimate]:
    """Acid against caustic as they flow: equivalents per time of each leg, the imbalance, the heat if they meet."""
    if not all(regenerating.get(leg) for leg in _PARALLEL):
        return {}
    rates = {
        leg: _rate(applied[leg], regenerating[leg], "c" if leg is Leg.CATION else "a") for leg in _PARALLEL
    }
    found = {f"regenerant_rate_eq_per_s:{leg.value}": rates[leg] for leg in _PARALLEL}
    found["leg_balance_frac"] = _balance(rates[Leg.CATION], rates[Leg.ANION])
    found.update(_if_they_meet(regenerating, applied))
    return found


def _rate(applied: Estimate, steps: Sequence[PlannedStep], index: str) -> Estimate:
    seconds = sum(step.value("duration_s") for step in steps)
    leg = steps[0].leg
    return Estimate(
        symbol=f"r_{index}",
        name=f"equivalents per time in the {leg.label}",
        value=applied.value / seconds,
        unit="eq/s",
        kind="",
        formula=f"{applied.symbol} / t_i",
        inputs=(applied.as_input(), Input("t_i", "time of its injections", seconds, "s", "duration")),
        method="equivalents applied over the time they take",
        source="mass_balance",
    )


def _balance(acid: Estimate, caustic: Estimate) -> Estimate:
    larger, smaller = (acid, caustic) if acid.value >= caustic.value else (caustic, acid)
    return Estimate(
        symbol="b",
        name="imbalance of acid and caustic, share of the larger",
        value=(larger.value - smaller.value) / larger.value,
        unit="dimensionless",
        kind="fraction",
        formula=f"({larger.symbol} − {smaller.symbol}) / {larger.symbol}",
        inputs=(larger.as_input(), smaller.as_input()),
        method="equivalents per time of both legs",
        source="rpi_mixed_bed",
        valid="fresh regenerants; what leaves the beds is weaker",
    )


def _if_they_meet(
    regenerating: Mapping[Leg, Sequence[PlannedStep]], applied: Mapping[Leg, Estimate]
) -> dict[str, Estimate]:
    """Heat and temperature if the two regenerants met unspent: the worst that can happen at a valve."""
    steps = [step for leg in _PARALLEL for step in regenerating[leg]]
    met = min(applied[leg].value for leg in _PARALLEL)
    mass_kg = sum(step.value("volume_m3") * step.value("density_kg_per_m3") for step in steps)
    rise = neutralization_heat.temperature_rise(met, mass_kg).named(
        "ΔT", "temperature rise if both regenerants met unspent"
    )
    inputs: list[Input] = []
    for index, step in enumerate(steps, start=1):
        inputs.append(
            Input(f"V_{index}", f"{step.name}: volume", step.value("volume_m3"), "m^3", "liquid_volume")
        )
        inputs.append(
            Input(f"T_{index}", f"{step.name}: temperature", step.value("temperature_kelvin"), "kelvin", "temperature")
        )  # fmt: skip
    volumes, kelvins = inputs[0::2], inputs[1::2]
    mean = sum(v.value * t.value for v, t in zip(volumes, kelvins, strict=True)) / sum(
        v.value for v in volumes
    )
    weighted = " + ".join(f"{v.symbol} · {t.symbol}" for v, t in zip(volumes, kelvins, strict=True))
    whole = " + ".join(v.symbol for v in volumes)
    return {
        "legs_meet_rise_kelvin": rise,
        "legs_meet_temperature_kelvin": Estimate(
            symbol="T_m",
            name="temperature if both regenerants met unspent",
            value=mean + rise.value,
            unit="kelvin",
            kind="temperature",
            formula=f"({weighted}) / ({whole}) + {rise.symbol}",
            inputs=(*inputs, rise.as_input()),
            method="mixing by volume and heat of neutralization",
            source="neutralization_heat",
            valid="all of both regenerants, no loss; the worst that can happen at a valve left open",
        ),
    }
