"""Solids the mixed waste may drop: gypsum, chalk, magnesia, as saturation indices."""

from __future__ import annotations

from regenplant.core.engineering import scaling
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.spent import SpentStream
from regenplant.core.errors import OutOfRange

_LEAST_MOL_PER_M3 = 1e-3


def solids_totals(stream: SpentStream) -> dict[str, Estimate]:
    """Saturation index of each solid the waste could form, as ``waste_gypsum_index``; nothing without its ions."""
    totals = stream.composition
    hard = totals.calcium_mol_per_m3 + totals.magnesium_mol_per_m3
    partners = totals.sulfate_mol_per_m3 + totals.carbonate_mol_per_m3
    is_caustic = stream.ph.value > 9.0
    if hard < _LEAST_MOL_PER_M3 or (partners < _LEAST_MOL_PER_M3 and not is_caustic):
        return {}
    try:
        indices = scaling.saturation_indices(totals, stream.temperature_kelvin)
    except OutOfRange:
        return {}  # beyond what the program behind it answers for: no index, the pH still stands
    return {f"waste_{name}_index": found for name, found in indices.items()}
