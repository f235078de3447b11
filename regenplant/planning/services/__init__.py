"""Acts on plans of the day."""

from regenplant.planning.services.deciding import decide, keep_decision, undo_decision
from regenplant.planning.services.making import begin_plan, set_plan_aside, stop_plan

__all__ = ["begin_plan", "decide", "keep_decision", "set_plan_aside", "stop_plan", "undo_decision"]
