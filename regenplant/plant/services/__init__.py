"""Acts on the plant's set-up. Settings are frozen data; a record is known by its code."""

from regenplant.plant.services._calibration_points import PointAsTyped
from regenplant.plant.services.calibrations import (
    CalibrationEvidence,
    correct_calibration,
    record_calibration,
    take_out_of_service,
)
from regenplant.plant.services.drain_table import (
    approve_drain_table,
    draft_drain_table,
    withdraw_drain_table,
)
from regenplant.plant.services.feed import FeedSettings, remove_feed_analysis, save_feed_analysis
from regenplant.plant.services.instruments import InstrumentSettings, save_instrument
from regenplant.plant.services.limits import approve_limits, draft_limits, withdraw_limits
from regenplant.plant.services.meter_feeds import (
    LONGEST_TOPIC,
    MeterFeedSettings,
    NewToken,
    change_meter_feed,
    close_meter_feed,
    open_meter_feed,
    register_meter_feed,
    renew_token,
    revoke_token,
)
from regenplant.plant.services.permit import approve_permit, draft_permit, withdraw_permit
from regenplant.plant.services.profile import ProfileSettings, record_eyewash_test, save_profile
from regenplant.plant.services.site import record_determination
from regenplant.plant.services.supplies import (
    SkidSettings,
    WasteTankSettings,
    WaterSettings,
    lift_skid_lock_out,
    lock_out_skid,
    save_skid,
    save_waste_tank,
    save_water_supply,
)
from regenplant.plant.services.terminals import LONGEST_NAME as LONGEST_TERMINAL_NAME
from regenplant.plant.services.terminals import name_terminal, retire_terminal
from regenplant.plant.services.vessels import (
    VesselSettings,
    lift_lock_out,
    lock_out_vessel,
    note_vessel_state,
    record_clean_down,
    save_vessel,
)

__all__ = [
    "LONGEST_TERMINAL_NAME",
    "LONGEST_TOPIC",
    "CalibrationEvidence",
    "FeedSettings",
    "InstrumentSettings",
    "MeterFeedSettings",
    "NewToken",
    "PointAsTyped",
    "ProfileSettings",
    "SkidSettings",
    "VesselSettings",
    "WasteTankSettings",
    "WaterSettings",
    "approve_drain_table",
    "approve_limits",
    "approve_permit",
    "change_meter_feed",
    "close_meter_feed",
    "correct_calibration",
    "draft_drain_table",
    "draft_limits",
    "draft_permit",
    "lift_lock_out",
    "lift_skid_lock_out",
    "lock_out_skid",
    "lock_out_vessel",
    "name_terminal",
    "note_vessel_state",
    "open_meter_feed",
    "record_calibration",
    "record_clean_down",
    "record_determination",
    "record_eyewash_test",
    "register_meter_feed",
    "remove_feed_analysis",
    "renew_token",
    "retire_terminal",
    "revoke_token",
    "save_feed_analysis",
    "save_instrument",
    "save_profile",
    "save_skid",
    "save_vessel",
    "save_waste_tank",
    "save_water_supply",
    "take_out_of_service",
    "withdraw_drain_table",
    "withdraw_limits",
    "withdraw_permit",
]
