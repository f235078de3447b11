"""What the heater of a dilution skid must give, and how long it takes."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.engineering import heating
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import SkidData


def heater_figures(skid: SkidData | None, duty: Estimate, time: Estimate) -> dict[str, Estimate]:
    """Heat for the whole injection and, where the heater's power is on record, the time it needs for it.

    Parameters
    ----------
    skid : SkidData or None
        The skid; its heater's power may not be on record
    duty : Estimate
        Heat flow while the water runs [W]
    time : Estimate
        Time of the injection [s]
    """
    energy = Estimate(
        symbol="Q_h",
        name="heat for the dilution water",
        value=duty.value * time.value,
        unit="joule",
        kind="energy",
        formula=f"{duty.symbol} · {time.symbol}",
        inputs=(duty.as_input(), time.as_input()),
        method="heat flow times time",
        source="mass_balance",
        valid="no loss to pipe and vessel",
    )
    figures = {"heating_energy_joule": energy}
    if skid is not None and skid.heater_power_watt:
        figures["heater_time_s"] = _time(energy, duty, skid.heater_power_watt)
    return figures


def _time(energy: Estimate, duty: Estimate, power_watt: float) -> Estimate:
    found = heating.heater_time(energy.value, power_watt)
    if duty.value <= power_watt:
        return found
    return replace(
        found,
        warnings=(
            *found.warnings,
            f"The flow takes {duty.value / 1000:.3g} kW of heat, the heater gives {power_watt / 1000:.3g} kW: "
            "warm a tank of water beforehand, or feed more slowly.",
        ),
    )
