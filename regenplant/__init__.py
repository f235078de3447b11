"""regenplant: process planner and batch record for a portable-exchange regeneration plant."""

CORE_VERSION = "1.2"
"""Version of the calculations in ``regenplant.core``; stamped on every stored calculation."""
