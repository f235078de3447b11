"""Acts of quality control: measure, judge, release."""

from regenplant.quality.services.judging import decide_batch, release_batch
from regenplant.quality.services.measuring import MeasurementAsTyped, correct_measurement, record_measurement

__all__ = ["MeasurementAsTyped", "correct_measurement", "decide_batch", "record_measurement", "release_batch"]
