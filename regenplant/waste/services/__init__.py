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
from regenplant.waste.services.reports import REPORT_MEANING, shown_mark, sign_month

__all__ = [
    "CLOSED_MEANING",
    "RELEASE_MEANING",
    "REPORT_MEANING",
    "ReadingAsRead",
    "close_discharge",
    "close_excursion",
    "follow_up",
    "give_up_discharge",
    "open_discharge",
    "record_reading",
    "release_discharge",
    "report_excursion",
    "set_mixing",
    "shown_mark",
    "sign_month",
]
