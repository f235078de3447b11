"""Acts on batches. Each module is one part of the story: plan, run, write down, hold, fill."""

from regenplant.batches.services._as_typed import SENT_TWICE_S
from regenplant.batches.services.entries import correct_entry, write_entry
from regenplant.batches.services.filling import (
    add_shell,
    fill_tank,
    finish_filling,
    scrap_batch,
    set_aside_tank,
)
from regenplant.batches.services.holding import (
    abort_batch,
    close_deviation,
    hold_batch,
    interrupt_batch,
    open_deviation,
    resume_batch,
)
from regenplant.batches.services.planning import freeze_batch, plan_rework
from regenplant.batches.services.readings import ReadingAsTyped, correct_reading, record_reading
from regenplant.batches.services.running import finish_step, skip_step, start_batch, start_step

__all__ = [
    "SENT_TWICE_S",
    "ReadingAsTyped",
    "abort_batch",
    "add_shell",
    "close_deviation",
    "correct_entry",
    "correct_reading",
    "fill_tank",
    "finish_filling",
    "finish_step",
    "freeze_batch",
    "hold_batch",
    "interrupt_batch",
    "open_deviation",
    "plan_rework",
    "record_reading",
    "resume_batch",
    "scrap_batch",
    "set_aside_tank",
    "skip_step",
    "start_batch",
    "start_step",
    "write_entry",
]
