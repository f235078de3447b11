"""Reading customers, tanks and visits.

codes.py     what a scanned code means
expected.py  tanks on their way
intake.py    the dock, one visit at intake
waiting.py   the waiting list by pooling key
rushed.py    customers whose tanks count as rush
tanks.py     listings of tanks and customers, a tank's history
"""

from regenplant.tanks.selectors._base import AWAY_STATES, DOCK_STATES
from regenplant.tanks.selectors._numbers import next_serial, next_visit_number
from regenplant.tanks.selectors.codes import FoundCode, find_code, near_serials, normal_code
from regenplant.tanks.selectors.expected import expected_tanks, visits_at_the_door
from regenplant.tanks.selectors.intake import (
    DockTank,
    IntakePage,
    dock,
    findings_against,
    inspection_data,
    intake_page,
    judged,
    remarks_on,
)
from regenplant.tanks.selectors.rushed import rush_of, rushed_customers
from regenplant.tanks.selectors.tanks import (
    AWAY,
    TankHistory,
    count_by_state,
    customer_page,
    customer_rows,
    filtered_tanks,
    tank_history,
    tank_rows,
    visit_rows,
)
from regenplant.tanks.selectors.waiting import (
    WaitingPool,
    count_before_batch,
    waiting_by_key,
    waiting_visits,
)

__all__ = [
    "AWAY",
    "AWAY_STATES",
    "DOCK_STATES",
    "DockTank",
    "FoundCode",
    "IntakePage",
    "TankHistory",
    "WaitingPool",
    "count_before_batch",
    "count_by_state",
    "customer_page",
    "customer_rows",
    "dock",
    "expected_tanks",
    "filtered_tanks",
    "find_code",
    "findings_against",
    "inspection_data",
    "intake_page",
    "judged",
    "near_serials",
    "next_serial",
    "next_visit_number",
    "normal_code",
    "remarks_on",
    "rush_of",
    "rushed_customers",
    "tank_history",
    "tank_rows",
    "visit_rows",
    "visits_at_the_door",
    "waiting_by_key",
    "waiting_visits",
]
