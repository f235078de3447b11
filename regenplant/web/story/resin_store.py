"""The store of resin in the story: deliveries, conditioning, a mixture, a split, a count, a top-up of a bed, and what is left of a batch."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from regenplant.batches import services as batches
from regenplant.batches.models import Batch
from regenplant.batches.resin_volumes import counted_bed_m3
from regenplant.resins import services as resins
from regenplant.resins.models import ResinLot
from regenplant.resins.services import Counted, Piece, Taken
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
TOP_UP_LOT = "CAT-H-NEW-1"
"""Conditioned resin that beds are topped up with."""


def fill_the_store(stage: Stage, at: datetime) -> Script:
    """Two drums of one resin are mixed, new resin is conditioned, a small drum goes to the bench, and a bag was torn."""
    yield at
    old = [
        _received(stage, at, code, volume, cycles=cycles, delivered_on=date(at.year - years, 4, 12))
        for code, volume, cycles, years in (("CAT-H-DRUM-3", 0.180, 61, 4), ("CAT-H-DRUM-4", 0.120, 24, 2))
    ]
    new = _received(stage, at, TOP_UP_LOT, 0.250, is_new=True, delivered_on=at.date())
    waiting = _received(stage, at, "CAT-H-NEW-2", 0.100, is_new=True, delivered_on=at.date())
    at += 5 * HOUR
    yield at
    resins.condition_lot(
        by=stage.by("tarn", at),
        resin_lot_id=new.pk,
        how="In K1: backwash 20 min, 160 g/L HCl in two draws, rinsed with 12 BV (invented)",
    )
    at += 30 * MINUTE
    yield at
    mixed: ResinLot = resins.mix_in_store(
        by=stage.by("osk", at),
        code="CAT-H-MIX-1",
        segregation_class="D",
        taken=[Taken(lot.pk, Counted(volume, "Na")) for lot, volume in zip(old, (0.180, 0.090), strict=True)],
        resin_lot_ids=[lot.pk for lot in old],
        counted=Counted(0.267, "Na"),
        reason="Two part drums of one resin into one (invented)",
    ).result
    at += 20 * MINUTE
    yield at
    resins.split_lot(
        by=stage.by("osk", at),
        resin_lot_id=mixed.pk,
        pieces=[Piece("CAT-H-MIX-1-B", Counted(0.0214, "H"))],
        reason="A small drum for trials at the bench",
    )
    yield at + HOUR
    resins.count_stored(
        by=stage.by("tarn", at + HOUR),
        resin_lot_id=waiting.pk,
        counted=Counted(0.096, "Na"),
        reason="A bag was torn at unloading; swept up and set aside as waste",
    )


def top_up(stage: Stage, operator: str, batch: Batch, at: datetime) -> None:
    """The bed stood lower after its backwash: resin of the store brings it back to what it was."""
    form = batch.resin_volume_form
    batches.top_up_batch(
        by=stage.by(operator, at),
        batch_id=batch.pk,
        resin_lot_id=ResinLot.objects.get(code=TOP_UP_LOT).pk,
        added=Counted(0.022, form),
        bed=Counted(counted_bed_m3(batch), form),
        reason="Stood 2 cm lower than it was loaded; fines went out with the backwash",
    )


def keep_rest(stage: Stage, operator: str, batch: Batch, at: datetime) -> None:
    """Regenerated resin is more than what came in: what the tanks did not take is kept."""
    batches.keep_rest(by=stage.by(operator, at), batch_id=batch.pk, rest=Counted(0.045, "H"))


def _received(
    stage: Stage,
    at: datetime,
    code: str,
    volume_m3: float,
    *,
    delivered_on: date,
    cycles: int = 0,
    is_new: bool = False,
) -> ResinLot:
    lot: ResinLot = resins.receive_new_lot(
        by=stage.by("osk", at),
        code=code,
        resin_type_id=stage.types["CAT-H"].pk,
        segregation_class="D",
        volume_m3=volume_m3,
        volume_form="Na",
        origin="delivered new, invented" if is_new else "drum from the old store, invented",
        cycles=cycles,
        into_store=True,
        is_new=is_new,
        delivered_on=delivered_on,
    ).result
    return lot
