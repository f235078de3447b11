"""Acts of quality control: measure, judge, review, release; and correct what was signed."""

from regenplant.quality.services.ageing import CAPACITY_MEANING, look_at_lot, set_lot_capacity
from regenplant.quality.services.amending import amend_decision, release_anew, reopen_record
from regenplant.quality.services.continuing import continue_rinse
from regenplant.quality.services.downgrading import SECOND_RIGHT, CustomerOrder, downgrade_batch
from regenplant.quality.services.impact import look_at_impact
from regenplant.quality.services.judging import decide_batch, release_batch
from regenplant.quality.services.measuring import MeasurementAsTyped, correct_measurement, record_measurement
from regenplant.quality.services.resin_samples import (
    FigureAsTyped,
    SampleAsTyped,
    correct_resin_figure,
    record_resin_sample,
)
from regenplant.quality.services.reviewing import review_record
from regenplant.quality.services.sampling import discard_sample, keep_sample
from regenplant.quality.services.trends import look_at_trend, raise_drift

__all__ = [
    "CAPACITY_MEANING",
    "SECOND_RIGHT",
    "CustomerOrder",
    "FigureAsTyped",
    "MeasurementAsTyped",
    "SampleAsTyped",
    "amend_decision",
    "continue_rinse",
    "correct_measurement",
    "correct_resin_figure",
    "decide_batch",
    "discard_sample",
    "downgrade_batch",
    "keep_sample",
    "look_at_impact",
    "look_at_lot",
    "look_at_trend",
    "raise_drift",
    "record_measurement",
    "record_resin_sample",
    "release_anew",
    "release_batch",
    "reopen_record",
    "review_record",
    "set_lot_capacity",
]
