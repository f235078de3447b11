"""The safety desk of the story: showers and eyewashes with their rounds, a near miss that was answered, and one that waits."""

from __future__ import annotations

from datetime import datetime, timedelta

from regenplant.plant.selectors import plant_day
from regenplant.safety import services
from regenplant.safety.models import NearMiss, WashStation
from regenplant.safety.services import Found
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

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
