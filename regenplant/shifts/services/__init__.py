"""Acts of the shifts: hand over, take over, open and close what carries on."""

from regenplant.shifts.services.handing import HANDED_MEANING, TAKEN_MEANING, hand_over, take_over
from regenplant.shifts.services.items import close_item, open_item

__all__ = ["HANDED_MEANING", "TAKEN_MEANING", "close_item", "hand_over", "open_item", "take_over"]
