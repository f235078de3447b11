"""Acts on chemicals: lots and their strength, the lock of a delivery, the ledger of mass, data sheets."""

from regenplant.chemicals.services.counting import (
    DIFFERENCE_CATEGORIES,
    GeometrySettings,
    book_difference,
    count_level,
    count_stock,
    set_tank_geometry,
)
from regenplant.chemicals.services.data_sheets import DataSheetContent, add_data_sheet, withdraw_data_sheet
from regenplant.chemicals.services.expecting import (
    call_off_expected,
    change_expected,
    expect_delivery,
    settle_expected,
)
from regenplant.chemicals.services.ledger import (
    add_place,
    adjust_draw,
    change_place,
    correct_movement,
    draw_for_batch,
    draw_to_treat,
)
from regenplant.chemicals.services.lot_papers import correct_expiry, name_data_sheet
from regenplant.chemicals.services.lots import check_strength, put_lot_in_use, receive_delivery
from regenplant.chemicals.services.spills import (
    Amount,
    close_spill,
    measure_spill_anew,
    note_spill,
    record_spill,
)
from regenplant.chemicals.services.storage import add_storage_area, change_storage_area, place_tank
from regenplant.chemicals.services.thresholds import write_threshold
from regenplant.chemicals.services.unloading import (
    ALARM,
    UNLOCK_MEANING,
    Papers,
    answer_stop,
    check_sample,
    confirm_connection,
    open_unloading,
    set_fill_connection,
    stop_unloading,
    unlock,
)
from regenplant.chemicals.services.weighing import answer_weigh_ticket, write_weigh_ticket

__all__ = [
    "ALARM",
    "DIFFERENCE_CATEGORIES",
    "UNLOCK_MEANING",
    "Amount",
    "DataSheetContent",
    "GeometrySettings",
    "Papers",
    "add_data_sheet",
    "add_place",
    "add_storage_area",
    "adjust_draw",
    "answer_stop",
    "answer_weigh_ticket",
    "book_difference",
    "call_off_expected",
    "change_expected",
    "change_place",
    "change_storage_area",
    "check_sample",
    "check_strength",
    "close_spill",
    "confirm_connection",
    "correct_expiry",
    "correct_movement",
    "count_level",
    "count_stock",
    "draw_for_batch",
    "draw_to_treat",
    "expect_delivery",
    "measure_spill_anew",
    "name_data_sheet",
    "note_spill",
    "open_unloading",
    "place_tank",
    "put_lot_in_use",
    "receive_delivery",
    "record_spill",
    "set_fill_connection",
    "set_tank_geometry",
    "settle_expected",
    "stop_unloading",
    "unlock",
    "withdraw_data_sheet",
    "write_threshold",
    "write_weigh_ticket",
]
