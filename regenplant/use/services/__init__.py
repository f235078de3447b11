"""Acts of the audit of use: prices, watch levels, signed reports."""

from regenplant.use.services.prices import enter_price, record_measure_level, record_watch_levels
from regenplant.use.services.reports import REPORT_MEANING, sign_report

__all__ = ["REPORT_MEANING", "enter_price", "record_measure_level", "record_watch_levels", "sign_report"]
