"""Acts of quality control: measure, judge, review, release; and correct what was signed."""

from regenplant.quality.services.amending import amend_decision, release_anew, reopen_record
from regenplant.quality.services.impact import look_at_impact
from regenplant.quality.services.judging import decide_batch, release_batch
from regenplant.quality.services.measuring import MeasurementAsTyped, correct_measurement, record_measurement
from regenplant.quality.services.reviewing import review_record

__all__ = [
    "MeasurementAsTyped",
    "amend_decision",
    "correct_measurement",
    "decide_batch",
    "look_at_impact",
    "record_measurement",
    "release_anew",
    "release_batch",
    "reopen_record",
    "review_record",
]
