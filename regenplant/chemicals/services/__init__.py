"""Acts on chemicals: lots and their strength, the ledger of mass, data sheets."""

from regenplant.chemicals.services.data_sheets import DataSheetContent, add_data_sheet, withdraw_data_sheet
from regenplant.chemicals.services.ledger import (
    add_place,
    change_place,
    correct_movement,
    count_stock,
    draw_for_batch,
)
from regenplant.chemicals.services.lots import check_strength, put_lot_in_use, receive_delivery

__all__ = [
    "DataSheetContent",
    "add_data_sheet",
    "add_place",
    "change_place",
    "check_strength",
    "correct_movement",
    "count_stock",
    "draw_for_batch",
    "put_lot_in_use",
    "receive_delivery",
    "withdraw_data_sheet",
]
