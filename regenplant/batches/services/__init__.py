"""Acts on batches. Each module is one part of the story: plan, run, write down, check, hold, deviate, fill."""

from regenplant.batches.packets import LoggedReading, Packet
from regenplant.batches.services._as_typed import SENT_TWICE_S
from regenplant.batches.services._rework import REWORK_MEANING, SECOND_RIGHT
from regenplant.batches.services.check_rules import set_check_rules
from regenplant.batches.services.checks import (
    CHECK_MEANING,
    TOGETHER_MEANING,
    check_entry,
    check_reading,
    confirm_together,
)
from regenplant.batches.services.continuing import repeat_rinse
from regenplant.batches.services.deviations import (
    DECIDED_MEANING,
    Decision,
    assign_deviation,
    close_deviation,
    describe_deviation,
    open_deviation,
)
from regenplant.batches.services.entries import correct_entry, leave_entry, write_entry
from regenplant.batches.services.filling import (
    add_shell,
    fill_tank,
    finish_filling,
    scrap_batch,
    set_aside_tank,
)
from regenplant.batches.services.holding import abort_batch, hold_batch, interrupt_batch, resume_batch
from regenplant.batches.services.logs import set_aside, take_in
from regenplant.batches.services.mismatches import TYPED_DIFFERENTLY, note_mismatch
from regenplant.batches.services.planning import freeze_batch, plan_rework
from regenplant.batches.services.readings import ReadingAsTyped, correct_reading, record_reading
from regenplant.batches.services.routing import route_step
from regenplant.batches.services.running import finish_step, skip_step, start_batch, start_step
from regenplant.batches.services.topping_up import keep_rest, top_up_batch
from regenplant.batches.services.withdrawing import (
    discard_filled_tank,
    fail_tanks,
    put_back_filled_tank,
    withdraw_filled_tank,
)

__all__ = [
    "CHECK_MEANING",
    "DECIDED_MEANING",
    "REWORK_MEANING",
    "SECOND_RIGHT",
    "SENT_TWICE_S",
    "TOGETHER_MEANING",
    "TYPED_DIFFERENTLY",
    "Decision",
    "LoggedReading",
    "Packet",
    "ReadingAsTyped",
    "abort_batch",
    "add_shell",
    "assign_deviation",
    "check_entry",
    "check_reading",
    "close_deviation",
    "confirm_together",
    "correct_entry",
    "correct_reading",
    "describe_deviation",
    "discard_filled_tank",
    "fail_tanks",
    "fill_tank",
    "finish_filling",
    "finish_step",
    "freeze_batch",
    "hold_batch",
    "interrupt_batch",
    "keep_rest",
    "leave_entry",
    "note_mismatch",
    "open_deviation",
    "plan_rework",
    "put_back_filled_tank",
    "record_reading",
    "repeat_rinse",
    "resume_batch",
    "route_step",
    "scrap_batch",
    "set_aside",
    "set_aside_tank",
    "set_check_rules",
    "skip_step",
    "start_batch",
    "start_step",
    "take_in",
    "top_up_batch",
    "withdraw_filled_tank",
    "write_entry",
]
