"""Acts on resin types and on resin lots."""

from regenplant.resins.services.lots import mix_lot, receive_new_lot, scrap_lot
from regenplant.resins.services.types import ResinTypeSettings, add_resin_type, change_resin_type

__all__ = [
    "ResinTypeSettings",
    "add_resin_type",
    "change_resin_type",
    "mix_lot",
    "receive_new_lot",
    "scrap_lot",
]
