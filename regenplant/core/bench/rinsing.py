"""Rinse: displacement, tail, end point, and a forecast from readings."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import Any

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Group, InputSpec, Quantity
from regenplant.core.engineering import regenerants, rinse, rinse_forecast
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.errors import OutOfRange

_BV = given.number("bed_volumes", "bed volumes passed", "bed_volumes", "BV", 0.0, 1000.0, None, ("bv", "displaced", "displaced_bv", "volume", "displaced_bed_volumes", "b"))  # fmt: skip
_N = given.number("stages", "tanks in series", "count", "-", 1.0, 200.0, "10", ("n", "tanks", "number_of_tanks", "tanks_in_series"))  # fmt: skip
_VOID = given.number("accessible", "void and pore volume per bed volume", "bed_volumes", "BV", 0.3, 1.0, "0.7 BV", ("accessible_volume", "total_accessible_volume", "accessible_void", "phi", "pore_volume", "accessible_bv"))  # fmt: skip
_PECLET = given.number("peclet", "Péclet number of the bed", "scalar", "-", 1.0, 600.0, "40", ("pe", "peclet_number"))  # fmt: skip


def _conductivity(name: str, label: str, aliases: tuple[str, ...], low: float = 0.0, default: str | None = None) -> InputSpec:  # fmt: skip
    return given.number(name, label, "conductivity", "uS/cm", low, 100.0, default, aliases)


_START = _conductivity("start", "conductivity where the tail begins, floor included", ("kappa_0", "kappa0", "start_conductivity", "initial_conductivity", "kappa_start"), 1e-9)  # fmt: skip
_FLOOR = _conductivity("floor", "conductivity the tail approaches", ("floor_conductivity", "kappa_floor", "kappa_f"), 0.0, "0 uS/cm")  # fmt: skip
_END = _conductivity("endpoint", "conductivity to reach", ("end_point", "end", "endpoint_conductivity", "target", "limit"), 1e-9)  # fmt: skip
_DECADE = given.number("decade", "bed volumes per factor of ten", "bed_volumes", "BV", 1e-3, 100.0, None, ("tail", "s", "bv_per_decade", "tail_slope", "tail_bv_per_decade", "slope", "decade_volume"))  # fmt: skip
_FLOW = given.number("flow", "flow through the bed", "flow_bv_per_h", "BV/h", 0.01, 200.0, None, ("flow_rate", "rinse_flow", "bv_per_h", "rate", "specific_flow"))  # fmt: skip


def _front(bed_volumes_bv: float, stages: float, accessible_bv: float) -> Estimate:
    return rinse.displaced_fraction(bed_volumes_bv, round(stages), accessible_bv)


def _dispersion(bed_volumes_bv: float, peclet: float, accessible_bv: float) -> Estimate:
    return rinse.displaced_fraction_dispersion(bed_volumes_bv, peclet, accessible_bv)


def _displacement(left_frac: float, stages: float, accessible_bv: float) -> Estimate:
    return rinse.displacement_volume(left_frac, round(stages), accessible_bv)


def _tail(bed_volumes_bv: float, start_siemens_per_m: float, floor_siemens_per_m: float, decade_bv: float) -> Estimate:  # fmt: skip
    return rinse.tail_conductivity(bed_volumes_bv, start_siemens_per_m, floor_siemens_per_m, decade_bv)


def _to_end(start_siemens_per_m: float, floor_siemens_per_m: float, endpoint_siemens_per_m: float, decade_bv: float) -> Estimate:  # fmt: skip
    end = rinse.rinse_to_endpoint(start_siemens_per_m, floor_siemens_per_m, endpoint_siemens_per_m, decade_bv)
    if end.bed_volumes is None:
        raise OutOfRange(end.sentence, code="never_reached", field="floor", never=True)
    return end.bed_volumes


def _time(
    start_siemens_per_m: float, floor_siemens_per_m: float, endpoint_siemens_per_m: float, decade_bv: float, flow_bv_per_h: float
) -> Answer:  # fmt: skip
    volumes = _to_end(start_siemens_per_m, floor_siemens_per_m, endpoint_siemens_per_m, decade_bv)
    flow = regenerants.flow_from_bed_volumes(1.0, flow_bv_per_h)
    time = regenerants.duration(rinse.rinse_volume(volumes, 1.0), flow, "rinse time to the end point")
    return Answer(time, {"bed_volumes_to_endpoint": volumes})


def _volume(bed_volumes_bv: float, resin_volume_m3: float) -> Estimate:
    counted = Estimate("B", "bed volumes to pass", bed_volumes_bv, "dimensionless", "bed_volumes", "set point", (), "given", "recipe")  # fmt: skip
    return rinse.rinse_volume(counted, resin_volume_m3)


def _forecast(
    bed_volumes: tuple[float, ...], conductivity: tuple[float, ...], endpoint_siemens_per_m: float, until_bv: float | None, lowest_floor_siemens_per_m: float
) -> rinse_forecast.RinseForecast:  # fmt: skip
    if until_bv is not None and len(bed_volumes) == len(conductivity):
        kept = [pair for pair in zip(bed_volumes, conductivity, strict=True) if pair[0] <= until_bv + 1e-9]
        bed_volumes, conductivity = tuple(pair[0] for pair in kept), tuple(pair[1] for pair in kept)
    return rinse_forecast.forecast(
        bed_volumes, conductivity, endpoint_siemens_per_m, lowest_floor_siemens_per_m
    )


def _when(**values: Any) -> Answer:
    found = _forecast(**values)
    others = {"early_5_percent": found.early, "late_95_percent": found.late, "never": found.never_frac, "tail_slope": found.slope}  # fmt: skip
    finite = {key: figure for key, figure in others.items() if isfinite(figure.value)}
    main = found.bed_volumes
    if isfinite(main.value) and isfinite(found.late.value):  # half the band of 9 in 10
        main = replace(main, uncertainty_abs=(found.late.value - found.early.value) / 2.0)
    return Answer(main, finite, found.sentence)


def _slope(**values: Any) -> Answer:
    found = _forecast(endpoint_siemens_per_m=1.0, **values)
    return Answer(found.slope)


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.RINSE
    passed = replace(_BV, low=1e-3)
    tail = {"start": "2000 uS/cm", "floor": "2 uS/cm", "decade": "1.0 BV", "endpoint": "50 uS/cm"}
    volumes = InputSpec("bed_volumes", "bed volumes at each reading", "series:bed_volumes", "BV", 0.0, 1000.0, aliases=("bv", "volumes"), help="A list: 0.2, 0.5, 0.8 ...")  # fmt: skip
    readings = InputSpec("conductivity", "conductivity at 25 °C at each reading", "series:conductivity", "uS/cm", 1e-9, 100.0, aliases=("kappa", "readings", "conductivities"), help="A list in the same order: 2520, 1401, 752 ...")  # fmt: skip
    until = given.number(
        "until", "use readings up to", "bed_volumes", "BV", 0.0, 1000.0, None, ("data_to", "up_to"), True
    )
    least = _conductivity("lowest_floor", "least conductivity the tail may end at", ("rinse_water",), 1e-9, "0.055 uS/cm")  # fmt: skip
    measured = {"bed_volumes": "0.2, 0.5, 0.8, 1.1, 1.4, 1.7, 2.0", "conductivity": "2520, 1270, 640, 325, 168, 88, 48 uS/cm"}  # fmt: skip
    left = given.number("left", "share of the regenerant's strength left at the outlet", "fraction", "%", 1e-4, 0.99, "5 %", ("remaining", "remaining_fraction", "left_fraction", "fraction"))  # fmt: skip
    return (
        Quantity("displacement_front", "Regenerant left after displacement", "Concentration at the outlet over that at the start, tanks in series.", group, (_BV, _N, _VOID), "fraction", "-", _front, {"bed_volumes": "0.7 BV", "stages": "5", "accessible": "0.7 BV"}, ("remaining_fraction", "rinse_front", "remaining_fraction_tanks_in_series", "tanks_in_series", "remaining_fraction_c_c0", "displaced_fraction"), see=("displacement_dispersion", "displacement_volume")),
        Quantity("displacement_dispersion", "Regenerant left, axial dispersion", "The same by axial dispersion (Ogata and Banks).", group, (passed, _PECLET, _VOID), "fraction", "-", _dispersion, {"bed_volumes": "0.85 BV", "peclet": "20", "accessible": "0.7 BV"}, ("rinse_dispersion", "remaining_fraction_dispersion", "remaining_fraction_axial_dispersion", "ogata_banks", "axial_dispersion")),
        Quantity("displacement_volume", "Displacement volume", "Bed volumes that bring the outlet down to a share of the regenerant's strength.", group, (left, _N, _VOID), "bed_volumes", "BV", _displacement, {"left": "5 %"}),
        Quantity("rinse_tail", "Conductivity in the rinse tail", "Exponential tail with a floor.", group, (_BV, _START, _FLOOR, _DECADE), "conductivity", "uS/cm", _tail, {"bed_volumes": "1.5 BV", **{k: v for k, v in tail.items() if k != "endpoint"}}, ("tail_conductivity",)),
        Quantity("rinse_bed_volumes", "Bed volumes to the end point", "Exponential tail with a floor; refused where the floor lies above the end point.", group, (_START, _FLOOR, _DECADE, _END), "bed_volumes", "BV", _to_end, tail, ("bed_volumes_to_endpoint", "bv_to_endpoint", "rinse_to_endpoint", "bed_volumes_to_endpoint_exponential_tail_with_floor")),
        Quantity("rinse_time", "Time to the end point", "Exponential tail with a floor, at a flow.", group, (_START, _FLOOR, _DECADE, _END, _FLOW), "duration", "min", _time, {**tail, "flow": "15 BV/h"}, ("time_to_endpoint", "time_to_endpoint_exponential_tail_with_floor")),
        Quantity("rinse_volume", "Rinse water", "From bed volumes.", group, (_BV, given.resin_volume()), "liquid_volume", "L", _volume, {"bed_volumes": "6 BV", "resin_volume": "500 L"}),
        Quantity("rinse_forecast", "Rinse forecast from readings", "Bed volumes to the end point with a band of 9 in 10, and the chance that it is never reached.", group, (volumes, readings, _END, until, least), "bed_volumes", "BV", _when, {**measured, "endpoint": "50 uS/cm"}, ("forecast", "forecast_bed_volumes_to_endpoint", "forecast_bed_volumes_to_endpoint_median")),
        Quantity("rinse_tail_slope", "Slope of a rinse tail from readings", "Bed volumes per factor of ten.", group, (volumes, readings, until, least), "bed_volumes", "BV", _slope, measured, ("estimated_tail_slope", "tail_slope", "estimated_tail_slope_s")),
    )  # fmt: skip
