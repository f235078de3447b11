"""Acts on the waste: what comes into a waste tank and what leaves it."""

from regenplant.waste.services.levels import WasteReading, set_waste_level
from regenplant.waste.services.treating import take_waste_away, treat_waste

__all__ = ["WasteReading", "set_waste_level", "take_waste_away", "treat_waste"]
