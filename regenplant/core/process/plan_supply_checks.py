"""Checks of what a plan uses up: stock, skids, waters, room in the waste tank."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from regenplant.core.engineering import solutions
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import Check, PlannedStep, Severity, SkidData, StockData
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_wording import short_name
from regenplant.core.process.recipe_rules import NEEDS_WATER
from regenplant.core.process.vocabulary import Chemical, StepKind, WaterKind
from regenplant.core.process.wording import number, say, say_range

STRONG_CAUSTIC_FRAC = 0.45
STRONG_BRINE_FRAC = 0.24
"""Brine from here on is close to its saturation of about 26 %."""

_BLOCKER, _WARNING, _NOTE = Severity.BLOCKER, Severity.WARNING, Severity.NOTE


def _brought(steps: Sequence[PlannedStep]) -> dict[Chemical, list[PlannedStep]]:
    """The steps that bring each chemical."""
    found: dict[Chemical, list[PlannedStep]] = {}
    for step in steps:
        if step.chemical is not None:
            found.setdefault(step.chemical, []).append(step)
    return found


# --- stock and skid -------------------------------------------------------------------------------------------------
def chemical_checks(
    basis: PlanBasis, steps: Sequence[PlannedStep], totals: Mapping[str, Estimate]
) -> list[Check]:
    """Stock, strength check and skid of every chemical."""
    found: list[Check] = []
    for chemical, injections in _brought(steps).items():
        stock = basis.stock(chemical)
        if stock is None:
            found.append(
                Check(
                    "stock_present",
                    False,
                    _BLOCKER,
                    f"No {short_name(chemical)} stock is on record. Receive a lot first.",
                )
            )
        else:
            found.extend(_stock(basis, stock, injections, totals))
        fed = [step for step in injections if step.kind in (StepKind.INJECT, StepKind.FLOAT)]
        if fed:  # a sanitizer is made up by hand or in a tank
            found.extend(_skid(basis, chemical, fed))
    return found


def _stock(
    basis: PlanBasis, stock: StockData, injections: Sequence[PlannedStep], totals: Mapping[str, Estimate]
) -> Iterator[Check]:
    lot, name = stock.lot_code, short_name(stock.chemical)
    yield _strength_check(stock)
    yield from _expiry(stock)
    wanted = max(step.value("strength_frac") for step in injections)
    strong = stock.strength_frac > wanted and stock.strength_frac < 1.0
    yield Check(
        "stock_strength",
        strong,
        _BLOCKER,
        f"Lot {lot} holds {say(stock.strength_frac, 'strength')}; the {name} must come at {say(wanted, 'strength')}."
        + ("" if strong else " It cannot be diluted to that."),
        None, stock.strength_frac, wanted, 1.0, "dimensionless", "strength",
    )  # fmt: skip
    yield _density(basis, stock)
    if stock.chemical is Chemical.SODIUM_HYDROXIDE and stock.strength_frac >= STRONG_CAUSTIC_FRAC:
        least = basis.request.limits.caustic_cold_kelvin
        warm = stock.temperature_kelvin >= least
        yield Check(
            "caustic_cold",
            warm,
            _WARNING,
            f"Lot {lot} stands at {say(stock.temperature_kelvin, 'temperature')}; caustic this strong freezes near 12 °C."
            + ("" if warm else " Check that the line flows before you start; never warm it with a flame."),
            None, stock.temperature_kelvin, least, None, "kelvin", "temperature",
        )  # fmt: skip
    yield from _cold_brine(basis, stock)
    needed = totals[f"chemical_kg_100:{stock.chemical.value}"].value
    enough = stock.available_kg_100 >= needed
    yield Check(
        "stock_sufficient",
        enough,
        _BLOCKER,
        f"The batch takes {say(needed, 'mass')} of {stock.chemical.formula} as 100 %; {say(stock.available_kg_100, 'mass')} stand in lot {lot}."
        + ("" if enough else " Order, or make a smaller batch."),
        None, needed, None, stock.available_kg_100, "kg", "mass",
    )  # fmt: skip


def _cold_brine(basis: PlanBasis, stock: StockData) -> Iterator[Check]:
    if stock.chemical is not Chemical.SODIUM_CHLORIDE or stock.strength_frac < STRONG_BRINE_FRAC:
        return
    least = basis.request.limits.brine_cold_kelvin
    warm = stock.temperature_kelvin >= least
    yield Check(
        "brine_cold",
        warm,
        _WARNING,
        f"Lot {stock.lot_code} stands at {say(stock.temperature_kelvin, 'temperature')}; nearly saturated brine below "
        f"{say(least, 'temperature')} drops salt in the line."
        + ("" if warm else " Check that the line flows, or use it weaker."),
        None, stock.temperature_kelvin, least, None, "kelvin", "temperature",
    )  # fmt: skip


def _expiry(stock: StockData) -> Iterator[Check]:
    """The supplier's date, where there is one; on the day itself it may still be used."""
    left = stock.days_to_expiry
    if left is None:
        return
    lot, good = stock.lot_code, left >= 0.0
    held = f"Lot {lot}" + (f" with {', '.join(stock.added_lots)} on top" if stock.added_lots else "")
    yield Check(
        "stock_not_expired",
        good,
        _BLOCKER,
        f"{held} may be used until {stock.expires_on} by the supplier."
        if good
        else f"{held} expired on {stock.expires_on} by the supplier. It is not used: put another lot in use, or have a supervisor "
        "write down the supplier’s extension.",
        None, left, 0.0, None, "day", "",
    )  # fmt: skip


def _strength_check(stock: StockData) -> Check:
    lot, age, most = stock.lot_code, stock.check_age_days, stock.max_check_age_days
    if age is None:
        sentence = f"Lot {lot} was never checked at the plant. Check its strength before you start."
        if stock.added_lots:
            sentence = (
                f"{', '.join(stock.added_lots)} came on top of lot {lot} since its strength check and was not sampled. "
                "Check the strength in the tank before you start."
            )
        return Check("strength_check", False, _BLOCKER, sentence, None, None, None, most, "day", "")
    shown = number(age, decimals=1, digits=3)
    allowed = number(most, decimals=1, digits=3)
    fresh = 0.0 <= age <= most
    days = "day" if shown == "1" else "days"
    sentence = f"Strength check of lot {lot} is {shown} {days} old, at most {allowed}."
    if age < 0:
        sentence = f"Strength check of lot {lot} is dated {number(-age, decimals=1, digits=3)} days ahead. Correct the date."
    elif not fresh:
        sentence += " Check it before you start."
    return Check("strength_check", fresh, _BLOCKER, sentence, None, age, 0.0, most, "day", "")


def _density(basis: PlanBasis, stock: StockData) -> Check:
    density = basis.stock_density(stock)
    if density is None:
        tabled = not (stock.chemical.is_oxidizer or stock.chemical.is_reductant)
        words = f" ({solutions.valid_words(stock.chemical.value)})" if tabled else ""
        return Check(
            "stock_density",
            False,
            _BLOCKER,
            f"The density of lot {stock.lot_code} is not measured, and {stock.chemical.formula} of "
            f"{say(stock.strength_frac, 'strength')} at {say(stock.temperature_kelvin, 'temperature')} is not in the tables{words}. "
            "Measure it and write it down.",
            unit="kg/m^3",
            kind="density",
        )
    return Check(
        "stock_density",
        True,
        _BLOCKER,
        f"Density of lot {stock.lot_code}: {say(density.value, 'density')}.",
        None, density.value, None, None, "kg/m^3", "density",
    )  # fmt: skip


def _skid(basis: PlanBasis, chemical: Chemical, injections: Sequence[PlannedStep]) -> Iterator[Check]:
    skid = basis.skid(chemical)
    if skid is None:
        yield Check(
            "skid_present", False, _BLOCKER, f"No dilution skid for {short_name(chemical)} is on record."
        )
        return
    yield Check(
        "skid_chemical",
        skid.chemical is chemical,
        _BLOCKER,
        f"Skid {skid.code} carries {skid.chemical.label.lower()}; this batch needs {chemical.label.lower()}.",
    )
    yield Check(
        "skid_lock_out",
        not skid.lock_out_reason,
        _BLOCKER,
        f"Skid {skid.code} is locked out: {skid.lock_out_reason}." if skid.lock_out_reason else f"Skid {skid.code} is not locked out.",
    )  # fmt: skip
    for step in injections:
        yield _skid_flow(skid, step)


def _skid_flow(skid: SkidData, step: PlannedStep) -> Check:
    seen, low, high = step.value("flow_m3_per_s"), skid.flow_min_m3_per_s, skid.flow_max_m3_per_s
    return Check(
        "skid_range",
        low <= seen <= high,
        _BLOCKER,
        f"{step.name} needs {say(seen, 'flow')}; skid {skid.code} gives {say_range(low, high, 'flow')}.",
        step.number, seen, low, high, "m^3/s", "flow",
    )  # fmt: skip


# --- water ----------------------------------------------------------------------------------------------------------
def water_checks(
    basis: PlanBasis, steps: Sequence[PlannedStep], totals: Mapping[str, Estimate]
) -> list[Check]:
    """Each supply on record, strong enough, and enough of it."""
    found: list[Check] = []
    for step in steps:
        if step.water is None:
            if step.kind in NEEDS_WATER:
                found.append(
                    Check(
                        "water_named",
                        False,
                        _BLOCKER,
                        f"The recipe names no water for {step.name}.",
                        step.number,
                    )
                )
            continue
        supply = basis.water(step.water)
        if supply is None:
            found.append(
                Check(
                    "water_present",
                    False,
                    _BLOCKER,
                    f"No {step.water.label} supply is on record for {step.name}.",
                    step.number,
                )
            )
            continue
        key = (
            "dilution_water_flow_m3_per_s"
            if step.kind in (StepKind.INJECT, StepKind.FLOAT)
            else "flow_m3_per_s"
        )
        # a loop is moved by its own pump; the supply only fills it
        if key in step.figures and step.kind is not StepKind.RECIRCULATE:
            seen, most = step.value(key), supply.max_flow_m3_per_s
            found.append(
                Check(
                    "water_flow",
                    seen <= most,
                    _BLOCKER,
                    f"{step.name} takes {say(seen, 'flow')} of {step.water.label}; the supply gives {say(most, 'flow')}.",
                    step.number,
                    seen,
                    None,
                    most,
                    "m^3/s",
                    "flow",
                )
            )
    found.extend(_stored_water(basis, totals))
    return found


def _stored_water(basis: PlanBasis, totals: Mapping[str, Estimate]) -> Iterator[Check]:
    for kind in WaterKind:
        supply, used = basis.water(kind), totals.get(f"water_m3:{kind.value}")
        if supply is None or used is None or supply.available_m3 is None:
            continue
        yield Check(
            "water_stored",
            used.value <= supply.available_m3,
            _WARNING,
            f"The batch takes {say(used.value, 'liquid_volume')} of {kind.label}; {say(supply.available_m3, 'liquid_volume')} are stored."
            + ("" if used.value <= supply.available_m3 else " The supply must make up the rest in time."),
            None, used.value, None, supply.available_m3, "m^3", "liquid_volume",
        )  # fmt: skip


# --- waste ----------------------------------------------------------------------------------------------------------
def waste_checks(basis: PlanBasis, totals: Mapping[str, Estimate]) -> list[Check]:
    """Room in the waste tank with the reserve untouched, and what the mixture will need."""
    waste = basis.request.waste
    coming = totals["waste_m3"].value
    room = waste.capacity_m3 - waste.reserve_m3 - waste.level_m3
    fits = coming <= room
    found = [
        Check(
            "waste_room",
            fits,
            _BLOCKER,
            f"{say(coming, 'liquid_volume')} go to the waste tank; it takes {say(max(room, 0.0), 'liquid_volume')} with "
            f"{say(waste.reserve_m3, 'liquid_volume')} kept for an emergency."
            + ("" if fits else " Treat and discharge first."),
            None,
            coming,
            None,
            room,
            "m^3",
            "liquid_volume",
        )
    ]
    ph = totals.get("waste_ph")
    if ph is not None:
        inside = waste.ph_low <= ph.value <= waste.ph_high
        found.append(
            Check(
                "waste_ph",
                inside,
                _NOTE,
                f"Alone, the waste of this batch comes to about pH {say(ph.value, 'ph')}; the permit takes {say_range(waste.ph_low, waste.ph_high, 'ph')}."
                + ("" if inside else " Neutralize in two stages; the measured pH decides."),
                None,
                ph.value,
                waste.ph_low,
                waste.ph_high,
                "dimensionless",
                "ph",
            )
        )
    return found
