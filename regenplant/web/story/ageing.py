"""Resin of the story that ages: a pool whose rinses grow long is sampled, looked at and set; another turns out sound."""

from __future__ import annotations

from datetime import datetime, timedelta

from regenplant.quality import services as quality
from regenplant.quality.services import FigureAsTyped, SampleAsTyped
from regenplant.resins.models import ResinLot
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

DAY = timedelta(days=1)
LABORATORY = "Moorhen Bench Laboratory"


def watch_the_resin(stage: Stage, now: datetime) -> Script:
    """Over the last days: softening resin with a little iron, then the anion pool that rinses long."""
    at = now - 4 * DAY
    yield at
    soft = _newest(stage, "SOFT-NA", "D")
    _sample(
        stage, soft, at, at - 5 * DAY, "RB 2207",
        FigureAsTyped("total_capacity", "1.62 eq/L", "titration, sodium form"),
        FigureAsTyped("moisture", "47.5 %", "drying", "46 %"),
        FigureAsTyped("iron", "7.2 mg/L", "soak in 1 % hydrochloric acid, 10 min"),
        FigureAsTyped("whole_beads", "97 %", "count under the glass"),
    )  # fmt: skip
    at = now - 30 * timedelta(hours=1)
    yield at
    anion = _newest(stage, "AN1-OH", "D")
    _sample(
        stage, anion, at, at - timedelta(hours=6), "RB 2231",
        FigureAsTyped("salt_splitting", "0.86 eq/L", "salt splitting, then titration", "1.23 eq/L", "4 %"),
        FigureAsTyped("total_capacity", "1.04 eq/L", "titration, chloride form"),
        FigureAsTyped("moisture", "44.5 %", "drying", "48 %"),
        FigureAsTyped("toc", "0.9 mg/L", "leach over night, total organic carbon"),
    )  # fmt: skip
    at += timedelta(minutes=40)
    yield at
    quality.look_at_lot(
        by=stage.by("sallow", at),
        lot_id=anion.pk,
        seen=["dark", "long_rinse"],
        answers={},
        words="Darker at the top of each tank.",
    )
    at += timedelta(hours=2)
    yield at
    quality.look_at_lot(
        by=stage.by("fenn", at),
        lot_id=anion.pk,
        seen=["dark", "long_rinse", "smell"],
        answers={"organics": "yes", "silica": "no"},
        words="Brine over a handful of it turned the colour of tea within a minute.",
    )
    at += timedelta(hours=1)
    yield at
    quality.set_lot_capacity(
        by=stage.by("osk", at),
        lot_id=anion.pk,
        factor_text="71 %",
        reason="By the sample and the rinses; to be looked at again after the cleaning.",
        seen_number=0,
        permit=stage.permit("osk", quality.CAPACITY_MEANING, at),
    )


def _newest(stage: Stage, resin_type: str, segregation_class: str) -> ResinLot:
    """The lot that a batch made last of this pool; what was delivered where none did."""
    rows = ResinLot.objects.filter(
        resin_type=stage.types[resin_type], segregation_class=segregation_class, is_scrapped=False
    )
    found: ResinLot = (rows.filter(batches__isnull=False) or rows).order_by("-made_at", "-pk")[0]
    return found


def _sample(
    stage: Stage, lot: ResinLot, at: datetime, taken_at: datetime, report: str, *figures: FigureAsTyped
) -> None:
    quality.record_resin_sample(
        by=stage.by("fenn", at),
        lot_id=lot.pk,
        sample=SampleAsTyped(
            taken_at=max(taken_at, lot.made_at + timedelta(minutes=30)),
            taken_by="a technician of the plant (invented)",
            taken_how="core over the full depth of one tank",
            laboratory=LABORATORY,
            report=report,
        ),
        figures=figures,
    )
