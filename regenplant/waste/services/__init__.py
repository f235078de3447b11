"""Acts on the waste: what comes into a waste tank and what leaves it."""

from regenplant.waste.services.discharges import (
    RELEASE_MEANING,
    ReadingAsRead,
    close_discharge,
    give_up_discharge,
    open_discharge,
    record_reading,
    release_discharge,
    set_mixing,
)
from regenplant.waste.services.excursions import CLOSED_MEANING, close_excursion, follow_up, report_excursion
from regenplant.waste.services.levels import WasteReading, set_waste_level
from regenplant.waste.services.receiving import run_drains_to
from regenplant.waste.services.reports import REPORT_MEANING, sign_month
from regenplant.waste.services.treating import take_waste_away, treat_waste

__all__ = [
    "CLOSED_MEANING",
    "RELEASE_MEANING",
    "REPORT_MEANING",
    "ReadingAsRead",
    "WasteReading",
    "close_discharge",
    "close_excursion",
    "follow_up",
    "give_up_discharge",
    "open_discharge",
    "record_reading",
    "release_discharge",
    "report_excursion",
    "run_drains_to",
    "set_mixing",
    "set_waste_level",
    "sign_month",
    "take_waste_away",
    "treat_waste",
]
