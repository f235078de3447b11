"""Acts on plans of the day."""

from regenplant.planning.services.accepting import accept_plan
from regenplant.planning.services.asking import keep_answer
from regenplant.planning.services.copying import copy_plan
from regenplant.planning.services.deciding import keep_decision, undo_decision
from regenplant.planning.services.figures import record_figures
from regenplant.planning.services.making import begin_plan, set_plan_aside, stop_plan
from regenplant.planning.services.planned import cancel_planned, start_planned

__all__ = [
    "accept_plan",
    "begin_plan",
    "cancel_planned",
    "copy_plan",
    "keep_answer",
    "keep_decision",
    "record_figures",
    "set_plan_aside",
    "start_planned",
    "stop_plan",
    "undo_decision",
]
