"""Reading batches: the floor, one batch, the waiting pools with their vessels."""

from regenplant.batches.selectors.floor import FloorBoard, floor_board
from regenplant.batches.selectors.lists import (
    batch_list,
    batch_numbered,
    count_by_state,
    filtered_batches,
    story_subjects,
)
from regenplant.batches.selectors.meters import OpenRinse, rinse_open_in
from regenplant.batches.selectors.offered_recipes import OfferedRecipe, offered_recipes
from regenplant.batches.selectors.page import BatchPage, Work, batch_page
from regenplant.batches.selectors.rinse import RinsePage, rinse_page, rinse_running_in
from regenplant.batches.selectors.start import AnionVessel, StartPage, anion_vessels_for, start_page
from regenplant.batches.separation import SeparationRecord, separation_record

__all__ = [
    "AnionVessel",
    "BatchPage",
    "FloorBoard",
    "OfferedRecipe",
    "OpenRinse",
    "RinsePage",
    "SeparationRecord",
    "StartPage",
    "Work",
    "anion_vessels_for",
    "batch_list",
    "batch_numbered",
    "batch_page",
    "count_by_state",
    "filtered_batches",
    "floor_board",
    "offered_recipes",
    "rinse_open_in",
    "rinse_page",
    "rinse_running_in",
    "separation_record",
    "start_page",
    "story_subjects",
]
