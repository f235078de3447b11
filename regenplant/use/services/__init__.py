"""Acts of the audit of use: prices, watch levels, signed reports."""

from regenplant.use.services.prices import enter_price, record_watch_levels

__all__ = ["enter_price", "record_watch_levels"]
