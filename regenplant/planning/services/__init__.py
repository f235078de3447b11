"""Acts on plans of the day."""

from regenplant.planning.services.making import begin_plan, set_plan_aside, stop_plan

__all__ = ["begin_plan", "set_plan_aside", "stop_plan"]
