"""The safety desk of the story: showers and eyewashes with their rounds, a near miss that was answered and one that waits, and two
refused tanks with their letters, of which one left."""

from __future__ import annotations

from collections.abc import Generator
from datetime import datetime, timedelta

from regenplant.core.process.intake import (
    FittingCondition,
    InspectionData,
    Odour,
    OxidizerStrip,
    ReturnReason,
    ShellCondition,
    WaterColour,
)
from regenplant.documents import services as documents
from regenplant.plant.selectors import plant_day
from regenplant.safety import services
from regenplant.safety.models import NearMiss, WashStation
from regenplant.safety.services import Found
from regenplant.tanks import services as tanks
from regenplant.tanks.models import TankVisit
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)
STATIONS = (
    ("W1", "Between the vessels, north wall", "both", 120),
    ("W2", "Unloading door", "both", 352),
    ("W3", "Bench of the laboratory", "eyewash", 120),
)
"""Code, place, kind, and how many days before the story begins it was inspected whole: of W2 the next inspection is overdue by now."""


def put_up_stations(stage: Stage, at: datetime) -> None:
    """Every shower and eyewash with its last yearly inspection, and a first round."""
    for code, spot, kind, days in STATIONS:
        row = services.save_wash_station(by=stage.by("osk", at), code=code, spot=spot, kind=kind).result
        services.inspect_wash_station(
            by=stage.by("quill", at), station_id=row.pk, tested_on=plant_day(at - timedelta(days=days)), is_working=True,
            note="By the maker of the station.",
        )  # fmt: skip
    walk_round(stage, at)


def walk_round(stage: Stage, at: datetime) -> None:
    """All of them run clear."""
    found = {row.pk: Found(True) for row in WashStation.objects.filter(is_in_use=True)}
    services.write_wash_round(by=stage.by("quill", at), tested_on=plant_day(at), found=found)


def near_misses(stage: Stage, at: datetime) -> Script:
    """One is told, answered the day after and being seen to; another was told this morning and waits."""
    yield at
    first: NearMiss = services.report_near_miss(
        by=stage.by("tarn", at),
        kind="release",
        what="The hose of the acid pump slipped off its nipple while water ran through it. Nobody stood there.",
        spot="Acid skid",
        done_at_once="Pump stopped, valve shut, hose hung up.",
    ).result
    at += timedelta(hours=20)
    yield at
    services.answer_near_miss(
        by=stage.by("quill", at),
        near_miss_id=first.pk,
        cause="The clamp was made for a thicker hose; both kinds hung on one hook.",
        follow_up="Clamps by size of hose on a board of their own.",
        due_on=plant_day(at + timedelta(days=10)),
    )
    at += timedelta(hours=27)
    yield at
    services.report_near_miss(
        by=stage.by("sallow", at),
        kind="handling",
        what="A tank rolled off the tail lift and stopped at the kerb. The strap had not been pulled tight.",
        spot="Dock",
        told_by="The driver",
    )


def refused_tanks(stage: Stage, at: datetime) -> Script:
    """One smelled of solvent, was refused and went back; one stood behind a nickel bath, and still stands here with its letter."""
    yield at
    first = yield from _refused(
        stage, at, "INKWELL", "has stood in the press room", Odour.SOLVENT, "Smells of solvent; nobody could say of which."
    )  # fmt: skip
    at += timedelta(hours=52)
    yield at
    services.let_refused_tank_go(
        by=stage.by("quill", at),
        visit_id=first.pk,
        went_to="Back to Inkwell Print Works, with their own driver",
        left_on=plant_day(at),
        paper_number="RET-0017",
    )
    at += timedelta(hours=30)
    yield at
    yield from _refused(
        stage, at, "TINMOUSE", "stood behind the nickel bath for a month", Odour.NONE,
        "It served a nickel bath, and the site has no determination that would let metals in.",
    )  # fmt: skip


def _refused(
    stage: Stage, at: datetime, customer: str, words: str, odour: Odour, reason: str
) -> Generator[datetime, None, TankVisit]:
    """A tank of no pool comes in, is looked over and refused, and its letter is printed."""
    like = stage.tanks["CAT-H", "D"][0]
    tank = tanks.add_tank(
        by=stage.by("wend", at),
        size_id=like.size_id,
        resin_type_id=like.resin_type_id,
        segregation_class="D",
        resin_lot_id=like.resin_lot_id,
    ).result
    at += 3 * MINUTE
    yield at
    visit: TankVisit = tanks.receive_tank(
        by=stage.by("sallow", at), tank_id=tank.pk, customer_id=stage.customers[customer].pk,
        return_reason=ReturnReason.EXHAUSTED.value, customer_words=words, bay="quarantine",
    ).result  # fmt: skip
    at += 4 * MINUTE
    yield at
    seen = InspectionData(
        shell=ShellCondition.SOUND, head_and_fittings=FittingCondition.SOUND, odour=odour, water_colour=WaterColour.CLEAR,
        oxidizer_strip=OxidizerStrip.NONE, first_drain_ph=6.9, first_drain_ph_as_typed="6.9",
    )  # fmt: skip
    tanks.inspect_tank(by=stage.by("sallow", at), visit_id=visit.pk, inspection=seen)
    at += 35 * MINUTE
    yield at
    visit.refresh_from_db()
    tanks.refuse_tank(by=stage.by("quill", at), visit_id=visit.pk, reason=reason, version=visit.version)
    at += 6 * MINUTE
    yield at
    documents.issue_paper(by=stage.by("quill", at), kind="refusal_letter", key=visit.number)
    return visit
