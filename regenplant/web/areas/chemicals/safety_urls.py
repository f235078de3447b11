"""Addresses of storage, spills, inventory and thresholds, and of one data sheet."""

from django.urls import path

from regenplant.web.areas.chemicals import inventory, sheets, spills, storage

urlpatterns = [
    path("chemicals/storage/", storage.storage_page, name="chemicals-storage"),
    path("chemicals/storage/new/", storage.new_area, name="chemicals-storage-new"),
    path("chemicals/storage/<str:code>/", storage.change_area, name="chemicals-storage-area"),
    path("chemicals/tanks/<str:code>/area/", storage.place, name="chemicals-place-area"),
    path("chemicals/inventory/", inventory.inventory_page, name="chemicals-inventory"),
    path("chemicals/thresholds/", inventory.threshold_list, name="chemicals-thresholds"),
    path("chemicals/thresholds/write/", inventory.write_threshold, name="chemicals-threshold"),
    path("chemicals/spills/", spills.spill_list, name="chemicals-spills"),
    path("chemicals/spills/new/", spills.new, name="chemicals-spill-new"),
    path("chemicals/spills/<str:number>/", spills.page, name="chemicals-spill"),
    path("chemicals/spills/<str:number>/figure/", spills.again, name="chemicals-spill-again"),
    path("chemicals/spills/<str:number>/note/", spills.note, name="chemicals-spill-note"),
    path("chemicals/spills/<str:number>/close/", spills.close, name="chemicals-spill-close"),
    path("chemicals/sheets/<int:pk>/", sheets.sheet_page, name="chemicals-sheet"),
]
