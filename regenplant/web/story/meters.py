"""In-line meters of the story: each has a feed with an account of its own, and sends for the vessel at whose outlet it sits."""

from __future__ import annotations

from datetime import datetime

from regenplant.plant import services as plant
from regenplant.plant.services.meter_feeds import MeterFeedSettings
from regenplant.web.story.cast import Stage


def put_up_feeds(stage: Stage, at: datetime) -> None:
    for item in stage.data["meter_feeds"]:
        made = plant.register_meter_feed(
            by=stage.by("osk", at),
            feed=MeterFeedSettings(
                code=item["code"],
                name=item["name"],
                instrument_id=stage.instruments[item["instrument"]].pk,
                vessel_id=stage.vessels[item["vessel"]].pk,
                topic=item.get("topic", ""),
            ),
        ).result
        stage.feeds[item["vessel"]] = made.feed
