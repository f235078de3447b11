"""Writing a deviation inside another act."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.plant.models import Instrument


def write_deviation(
    *,
    by: By,
    batch: Batch,
    step: StepRun | None,
    severity: str,
    what: str,
    source: str = Deviation.Source.PERSON.value,
    follows: Deviation | None = None,
) -> Deviation:
    """A new open deviation of this batch."""
    return Deviation.objects.create(
        number=next_number(Deviation, "number", "D", 1001),
        batch=batch,
        step=step,
        severity=severity,
        source=source,
        what=what[:400],
        opened_at=by.at,
        opened_by=by.user,
        follows=follows,
    )


def deviation_once(
    *, by: By, batch: Batch, step: StepRun, source: Deviation.Source, instrument: Instrument, what: str
) -> Deviation | None:
    """A minor deviation about an instrument, once for each step and instrument: the tenth reading says nothing new."""
    mark = f"{instrument.code}: "
    if batch.deviations.filter(step=step, source=source.value, what__startswith=mark).exists():
        return None
    return write_deviation(
        by=by,
        batch=batch,
        step=step,
        severity=Deviation.Severity.MINOR.value,
        what=f"{mark}{what}",
        source=source.value,
    )
