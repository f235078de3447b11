"""Rinses from a curves file and forecasts into a forecast file: the exchange format, checked field by field."""

from __future__ import annotations

import math
from typing import Any

from regenplant.core.errors import DomainError, OutOfRange
from regenplant.core.process.forecasting.forecast import RinseForecast
from regenplant.core.process.forecasting.rinse_so_far import (
    MOST_HISTORY,
    MOST_READINGS,
    PastRinse,
    ReadingSoFar,
    RinsedBed,
    RinseSoFar,
    checked,
)

BEDS = {
    "SAC-H": RinsedBed.CATION_AFTER_ACID,
    "SBA1": RinsedBed.ANION_AFTER_CAUSTIC,
    "MB": RinsedBed.MIXED_BED,
    "SAC-NA": RinsedBed.SOFTENER_AFTER_BRINE,
}
_PER_MICROSIEMENS_CM = 1e-4
_KELVIN = 273.15


def curves_of(content: Any) -> list[tuple[str, RinseSoFar]]:
    """Every entry of a curves file with its id.

    Raises: OutOfRange that names the entry, the field, what stands there and what is allowed.
    """
    if not isinstance(content, dict) or not isinstance(content.get("curves"), list):
        raise OutOfRange(
            'The file has no list "curves"; allowed is {"curves": [{...}, ...]}.', code="no_curves"
        )
    found: list[tuple[str, RinseSoFar]] = []
    names: set[str] = set()
    for number, entry in enumerate(content["curves"], start=1):
        name, rinse = curve_of(entry, number)
        if name in names:
            raise OutOfRange(
                f'Entry {number}: the id "{name}" stands there a second time; ids are unique.',
                code="id_twice",
            )
        names.add(name)
        found.append((name, rinse))
    return found


def curve_of(entry: Any, number: int) -> tuple[str, RinseSoFar]:
    """One entry, ``number`` from 1.

    Raises: OutOfRange as ``curves_of``.
    """
    if not isinstance(entry, dict):
        raise OutOfRange(f"Entry {number} is {_kind(entry)}; allowed is an object.", code="not_an_object")
    name = entry.get("id")
    if not isinstance(name, str) or not name:
        raise OutOfRange(f'Entry {number}, "id": {_shown(name)} stands there; allowed is text.', code="no_id")
    shown = "".join(each if each.isprintable() else "?" for each in name[:40])
    where = f'Entry {number} ("{shown}")'
    resin = entry.get("resin")
    if not isinstance(resin, str) or resin not in BEDS:
        raise OutOfRange(
            f'{where}, "resin": {_shown(resin)} stands there; allowed are {", ".join(BEDS)}.', code="resin"
        )
    volume = _number(entry, "bed_volume_l", where, 1e-3, 1e6) * 1e-3
    flow = _number(entry, "flow_bv_per_h", where, 0.01, 1000.0)
    every = [
        _reading(each, f"{where}, reading {index}")
        for index, each in enumerate(_list(entry, "readings", where, MOST_READINGS), start=1)
    ]
    readings = tuple(each for each in every if each is not None)
    if every and not readings:
        raise OutOfRange(
            f'{where}, "readings": none of the {len(every)} has a conductivity; a forecast needs at least one.',
            code="no_readings",
        )
    history = tuple(
        _past(each, f"{where}, history {index}")
        for index, each in enumerate(_list(entry, "history", where, MOST_HISTORY, may_lack=True), start=1)
    )
    rinse = RinseSoFar(
        bed=BEDS[resin],
        bed_volume_m3=volume,
        flow_m3_per_s=flow * volume / 3600.0,
        rinse_water_siemens_per_m=_number(entry, "rinse_water_us_cm", where, 0.0, 1e6) * _PER_MICROSIEMENS_CM,
        limit_siemens_per_m=_number(entry, "limit_us_cm", where, 1e-4, 1e6) * _PER_MICROSIEMENS_CM,
        readings=readings,
        history=history,
    )
    try:
        return name, checked(rinse)
    except DomainError as refusal:
        raise OutOfRange(f"{where}: {refusal.message}", code=refusal.code) from refusal


def _reading(each: Any, where: str) -> ReadingSoFar | None:
    """One reading; None where the meter gave no value (``null``), which is no reading. A field that lacks is a slip in the file."""
    if not isinstance(each, dict):
        raise OutOfRange(f"{where} is {_kind(each)}; allowed is an object.", code="not_an_object")
    temperature = each.get("temperature_c")
    bed_volumes = _number(each, "bv", where, 0.0, 10_000.0)
    at_s = _number(each, "minutes", where, 0.0, 1e6) * 60.0
    if "conductivity_us_cm_25c" in each and each["conductivity_us_cm_25c"] is None:
        return None
    return ReadingSoFar(
        bed_volumes_bv=bed_volumes,
        at_s=at_s,
        conductivity_siemens_per_m=_number(each, "conductivity_us_cm_25c", where, 0.0, 1e7, above=True)
        * _PER_MICROSIEMENS_CM,
        temperature_kelvin=None
        if temperature is None
        else _number(each, "temperature_c", where, -40.0, 150.0) + _KELVIN,
    )


def _past(each: Any, where: str) -> PastRinse:
    if not isinstance(each, dict):
        raise OutOfRange(f"{where} is {_kind(each)}; allowed is an object.", code="not_an_object")

    def maybe(name: str) -> float | None:
        return None if each.get(name) is None else _number(each, name, where, 0.0, 10_000.0, above=True)

    return PastRinse(maybe("endpoint_bv"), maybe("slope_bv_per_decade"))


def _list(entry: dict[str, Any], name: str, where: str, most: int, *, may_lack: bool = False) -> list[Any]:
    value = entry.get(name, [] if may_lack else None)
    if not isinstance(value, list):
        raise OutOfRange(
            f'{where}, "{name}": {_kind(value)} stands there; allowed is a list.', code="not_a_list"
        )
    if len(value) > most:
        raise OutOfRange(
            f'{where}, "{name}": {len(value)} entries; allowed are at most {most}.', code="too_many"
        )
    return value


def _number(
    entry: dict[str, Any], name: str, where: str, low: float, high: float, *, above: bool = False
) -> float:
    value = entry.get(name)
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if is_number and isinstance(value, int) and abs(value) > 10**15:
        is_number = False
    allowed = f"above {low:g} to {high:g}" if above else f"{low:g} to {high:g}"
    if not is_number or value is None or not math.isfinite(value):
        raise OutOfRange(
            f'{where}, "{name}": {_shown(value)} stands there; allowed is a number, {allowed}.',
            code="not_a_number",
        )
    if not low <= value <= high or (above and value <= low):
        raise OutOfRange(
            f'{where}, "{name}": {value:g} stands there; allowed is {allowed}.', code="out_of_range"
        )
    return float(value)


def _kind(value: Any) -> str:
    return {dict: "an object", list: "a list", str: "text", type(None): "nothing"}.get(
        type(value), "a number"
    )


def _shown(value: Any) -> str:
    return "nothing" if value is None else repr(value)[:60]


def as_entry(name: str, said: RinseForecast) -> dict[str, Any]:
    """One entry of a forecast file. Bed volumes since the rinse began; the points are null without enough data."""
    early, middle, late = (
        None if point is None else round(point.bed_volumes_bv, 4)
        for point in (said.early, said.middle, said.late)
    )
    return {
        "id": name,
        "p05_bv": early,
        "p50_bv": middle,
        "p95_bv": late,
        "p_never": round(said.never_frac, 4),
        "enough_data": said.has_enough,
    }
