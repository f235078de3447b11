"""Reading batches: the floor, one batch, the waiting pools with their vessels, chemical use."""

from regenplant.batches.selectors.floor import FloorBoard, floor_board
from regenplant.batches.selectors.lists import (
    batch_list,
    batch_numbered,
    batch_story,
    count_by_state,
    filtered_batches,
    open_deviation_count,
)
from regenplant.batches.selectors.page import BatchPage, batch_page
from regenplant.batches.selectors.rinse import RinsePage, rinse_page
from regenplant.batches.selectors.start import StartPage, start_page
from regenplant.batches.selectors.use import ChemicalUse, chemical_use

__all__ = [
    "BatchPage",
    "ChemicalUse",
    "FloorBoard",
    "RinsePage",
    "StartPage",
    "batch_list",
    "batch_numbered",
    "batch_page",
    "batch_story",
    "chemical_use",
    "count_by_state",
    "filtered_batches",
    "floor_board",
    "open_deviation_count",
    "rinse_page",
    "start_page",
]
