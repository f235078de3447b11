"""Acts on customers, tanks and their visits. Every change of a visit's state goes through ``_moves.move_visit``.

customers.py   customers, sites, tank sizes, tanks
rushing.py     customers whose tanks always count as rush
expecting.py   tanks on their way: written down, put off, called off
receiving.py   receive a tank, known or unknown
intake.py      inspect, accept, hold, refuse
shipping.py    empty, inspect the shell, refill, release, ship
withdrawing.py withdraw a filled tank, put it back, empty it
downgrading.py go down a class with the resin of a batch
"""

from regenplant.tanks.services.customers import add_customer, add_site, add_tank, add_tank_size, change_tank
from regenplant.tanks.services.downgrading import downgrade_tank
from regenplant.tanks.services.expecting import call_off_expected_tank, change_expected_tank, expect_tanks
from regenplant.tanks.services.intake import accept_tank, hold_tank, inspect_tank, refuse_tank
from regenplant.tanks.services.receiving import receive_tank, receive_unknown_tank
from regenplant.tanks.services.rushing import end_customer_rush, rush_customer
from regenplant.tanks.services.shipping import empty_tank, record_shell, refill_tank, release_tank, ship_tank
from regenplant.tanks.services.withdrawing import discard_resin, fail_tank, put_tank_back, withdraw_tank

__all__ = [
    "accept_tank",
    "add_customer",
    "add_site",
    "add_tank",
    "add_tank_size",
    "call_off_expected_tank",
    "change_expected_tank",
    "change_tank",
    "discard_resin",
    "downgrade_tank",
    "empty_tank",
    "end_customer_rush",
    "expect_tanks",
    "fail_tank",
    "hold_tank",
    "inspect_tank",
    "put_tank_back",
    "receive_tank",
    "receive_unknown_tank",
    "record_shell",
    "refill_tank",
    "refuse_tank",
    "release_tank",
    "rush_customer",
    "ship_tank",
    "withdraw_tank",
]
