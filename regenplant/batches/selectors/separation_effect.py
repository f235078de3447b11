"""What the separation of a mixed bed costs in the finished bed: leakage by the stray beads that were counted, beside the predicted."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.batches.separation import SeparationRecord
from regenplant.core.engineering.leakage import MixedBedLeakage, mixed_bed_leakage

CATION_IN_ANION, ANION_IN_CATION = "cation_in_anion", "anion_in_cation"
"""Entry keys of the counted shares; see ``core.process.plan_entries_mixed``."""
MOST_FRAC = 0.5
"""More stray beads than this is no separation, and the estimate ends there."""


@dataclass(frozen=True, slots=True)
class SeparationEffect:
    """Leakage at equilibrium of the finished bed. None where a share is not known, or is beyond the estimate."""

    measured: MixedBedLeakage | None
    predicted: MixedBedLeakage | None
    is_beyond: bool
    """Whether so many stray beads were counted that nothing can be estimated."""


def separation_effect(record: SeparationRecord) -> SeparationEffect:
    """What the counted and the predicted cross-contamination do to sodium, chloride and the reading. No query."""
    counted = (_written(record, CATION_IN_ANION), _written(record, ANION_IN_CATION))
    volumes = (
        _written(record, "cation_volume") or _figure(record, "lower_layer_m3"),
        _written(record, "anion_volume") or _figure(record, "upper_layer_m3"),
    )
    expected = (_figure(record, f"{CATION_IN_ANION}_frac"), _figure(record, f"{ANION_IN_CATION}_frac"))
    planned = (_figure(record, "lower_layer_m3"), _figure(record, "upper_layer_m3"))
    return SeparationEffect(
        measured=_leakage(counted, volumes),
        predicted=_leakage(expected, planned),
        is_beyond=any(share is not None and share > MOST_FRAC for share in counted),
    )


def _leakage(
    shares: tuple[float | None, float | None], volumes: tuple[float | None, float | None]
) -> MixedBedLeakage | None:
    (cation, anion), (cation_m3, anion_m3) = shares, volumes
    if cation is None or anion is None or not cation_m3 or not anion_m3:
        return None
    if not (0.0 <= cation <= MOST_FRAC and 0.0 <= anion <= MOST_FRAC):
        return None
    return mixed_bed_leakage(cation, anion, cation_m3=cation_m3, anion_m3=anion_m3)


def _written(record: SeparationRecord, key: str) -> float | None:
    line = record.line(key)
    return line.value if line is not None else None


def _figure(record: SeparationRecord, key: str) -> float | None:
    found = record.predicted.get(key)
    return found.value if found is not None else None
