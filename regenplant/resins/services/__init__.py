"""Acts on resin types, on resin lots, and in the store of resin."""

from regenplant.resins.services._store import Counted
from regenplant.resins.services.lots import mix_lot, receive_new_lot, scrap_lot
from regenplant.resins.services.store import (
    Piece,
    Taken,
    condition_lot,
    count_stored,
    keep_in_store,
    mix_in_store,
    scrap_stored,
    split_lot,
    take_for_batch,
    take_for_tank,
    top_up_lot,
)
from regenplant.resins.services.types import ResinTypeSettings, add_resin_type, change_resin_type

__all__ = [
    "Counted",
    "Piece",
    "ResinTypeSettings",
    "Taken",
    "add_resin_type",
    "change_resin_type",
    "condition_lot",
    "count_stored",
    "keep_in_store",
    "mix_in_store",
    "mix_lot",
    "receive_new_lot",
    "scrap_lot",
    "scrap_stored",
    "split_lot",
    "take_for_batch",
    "take_for_tank",
    "top_up_lot",
]
