"""Acts of the safety desk."""

from regenplant.safety.services.near_misses import answer_near_miss, close_near_miss, report_near_miss
from regenplant.safety.services.refused import let_refused_tank_go
from regenplant.safety.services.washing import (
    Found,
    inspect_wash_station,
    save_wash_station,
    write_wash_round,
)

__all__ = [
    "Found",
    "answer_near_miss",
    "close_near_miss",
    "inspect_wash_station",
    "let_refused_tank_go",
    "report_near_miss",
    "save_wash_station",
    "write_wash_round",
]
