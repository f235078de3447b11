"""A batch to which everything happened that a record must tell, played through the services; and its complete copy."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from regenplant.audit.reasons import Reason
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, RinseReading, StepEntry
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.services import CopiedBatch, copy_batch, issue_paper
from regenplant.keeping import container
from regenplant.keeping.verify_copy import DIGESTS, PAPER, RECORD
from regenplant.quality import services as quality_services
from regenplant.quality.models import QcMeasurement
from regenplant.quality.services.measuring import MeasurementAsTyped
from tests import factories, families

WRONG, RIGHT, WHY = "300 L/min", "312 L/min", "read from the neighbour's flow meter"
LATE_BY = timedelta(hours=3)
DECISION = "Agreed; the catcher was emptied."


def eventful_batch(plant: factories.SmallPlant) -> Batch:
    """Released, with a corrected entry, reading and measurement, a late entry, a hold, and a decided deviation."""
    batch = factories.frozen_batch(plant, "sac_h")
    backwash = factories.run_to(plant, batch, StepKind.BACKWASH)
    planned = backwash.entries
    factories.write(plant, backwash, "flow", _within(plant, batch))
    correct_entry(plant, planned.get(key="flow"))
    deviation = batch_services.open_deviation(
        by=plant.by(), batch_id=batch.pk, what="The catcher held a cup of beads.", severity="minor"
    ).result
    factories.work_off(plant, backwash)
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="The fork lift stands in the way.")
    plant.forward(minutes=20)
    batch_services.resume_batch(by=plant.by(), batch_id=batch.pk, note="The fork lift went away.")
    factories.decided(plant, deviation, words=DECISION)
    _late_entry(plant, factories.run_to(plant, batch, StepKind.INJECT))
    rinse = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=2)
    correct_reading(plant, factories.reading(plant, batch, "9000 µS/cm"))
    factories.work_off(plant, rinse)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    correct_measurement(plant, QcMeasurement.objects.filter(batch=batch).order_by("pk")[0])
    return released(plant, batch)


def _within(plant: factories.SmallPlant, batch: Batch) -> str:
    from regenplant.batches.frozen import plan_of

    step = next(step for step in plan_of(batch).steps if step.kind is StepKind.BACKWASH)
    return factories.text_for(next(spec for spec in step.entries if spec.key == "flow"))


def correct_entry(plant: factories.SmallPlant, entry: StepEntry) -> None:
    text = f"{float(entry.value_as_typed) * 1.01:.4g} {entry.unit_as_typed}"
    batch_services.correct_entry(by=plant.by(), entry_id=entry.pk, text=text, category="place", reason=WHY)


def correct_reading(plant: factories.SmallPlant, reading: RinseReading) -> None:
    typed = ReadingAsTyped("900 µS/cm", "25 °C", reading.instrument_id)
    batch_services.correct_reading(
        by=plant.by(), reading_id=reading.pk, reading=typed, category="slip", reason="one nought too many"
    )


def correct_measurement(plant: factories.SmallPlant, row: QcMeasurement) -> None:
    typed = MeasurementAsTyped(row.key, "0.31 mg/L", row.instrument_id)
    quality_services.correct_measurement(
        by=plant.by("qc"),
        measurement_id=row.pk,
        measurement=typed,
        category="slip",
        reason="wrong end of the scale",
    )


def _late_entry(plant: factories.SmallPlant, step: Any) -> None:
    """Something that happened when the step began and is entered hours later."""
    spec = next(s for s in _plan_step(step).entries if s.kind == "temperature")
    happened = plant.now
    plant.forward(seconds=LATE_BY.total_seconds())
    batch_services.write_entry(
        by=plant.by().happening_at(happened), step_id=step.pk, key=spec.key, text=factories.text_for(spec),
        late=Reason("late", "the tablet had no power until now"),
    )  # fmt: skip


def _plan_step(step: Any) -> Any:
    from regenplant.batches.frozen import plan_of

    return plan_of(step.batch).step(step.number)


def released(plant: factories.SmallPlant, batch: Batch) -> Batch:
    """Judged, filled and released by people who took no part; what had been outside its plan is decided first."""
    factories.check_what_is_critical(plant, batch)
    for deviation in batch.deviations.filter(decided_at__isnull=True):
        factories.decided(plant, deviation, words="Seen; it does the resin no harm.")
    plant.forward(minutes=15)
    return families.to_release(plant, batch)


# --- copies -----------------------------------------------------------------------------------------------------
def copied(plant: factories.SmallPlant, batch: Batch, *, who: str = "supervisor") -> CopiedBatch:
    """The batch printed and copied, as the page does it."""
    printed = issue_paper(by=plant.by(who), kind="batch_record", key=batch.number).result
    return copy_batch(by=plant.by(who), batch_id=batch.pk, document=printed).result


@dataclass
class Opened:
    """A copy taken apart, to be altered and packed again."""

    record: dict[str, Any]
    files: dict[str, bytes]

    def rows(self, part: str) -> list[dict[str, Any]]:
        return self.record["parts"][part]["rows"]

    def columns(self, part: str, index: int = 0) -> dict[str, Any]:
        return self.rows(part)[index]["columns"]

    def payload(self, index: int) -> dict[str, Any]:
        return json.loads(self.record["events"][index]["payload"])

    def index_of(self, event: str) -> int:
        """Place of the first act of this kind in the list of acts."""
        return next(i for i, _ in enumerate(self.record["events"]) if self.payload(i)["event"] == event)

    def recount(self) -> None:
        counts = self.record["counts"]
        counts["events"] = len(self.record["events"])
        counts["parts"] = {name: len(part["rows"]) for name, part in self.record["parts"].items()}

    def packed(self, *, mends_digests: bool = True) -> bytes:
        """The ZIP anew; its list of digests fits again unless that is what is to be found."""
        files = {**self.files, RECORD: canonical_text(self.record).encode()}
        if mends_digests:
            files[DIGESTS] = container.listed({n: d for n, d in files.items() if n != DIGESTS}).encode()
        return zipped(files)


def opened(data: bytes) -> Opened:
    with zipfile.ZipFile(io.BytesIO(data)) as source:
        files = {name: source.read(name) for name in source.namelist()}
    return Opened(json.loads(files[RECORD]), files)


def zipped(files: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in files.items():
            target.writestr(name, content)
    return buffer.getvalue()


__all__ = ["PAPER", "Opened", "copied", "eventful_batch", "opened", "zipped"]
