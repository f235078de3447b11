"""Chemicals: stock, deliveries, strength checks, lots, the ledger, tanks and data sheets."""

from django.urls import path

from regenplant.web.areas.chemicals import ahead, counts, ledger, lots, places, sheets, stock, unloading

urlpatterns = [
    path("chemicals/", stock.stock_page, name="chemicals"),
    path("chemicals/receive/", stock.receive, name="chemicals-receive"),
    path("chemicals/unloading/new/", unloading.new, name="chemicals-unloading-new"),
    path("chemicals/unloading/<str:number>/", unloading.page, name="chemicals-unloading"),
    path("chemicals/unloading/<str:number>/sample/", unloading.sample, name="chemicals-unloading-sample"),
    path("chemicals/unloading/<str:number>/scan/", unloading.scan, name="chemicals-unloading-scan"),
    path("chemicals/unloading/<str:number>/unlock/", unloading.unlock, name="chemicals-unloading-unlock"),
    path("chemicals/unloading/<str:number>/stop/", unloading.stop, name="chemicals-unloading-stop"),
    path("chemicals/unloading/<str:number>/answer/", unloading.answer, name="chemicals-unloading-answer"),
    path("chemicals/lots/", lots.lot_list, name="chemicals-lots"),
    path("chemicals/lots/<str:code>/", lots.lot_page, name="chemicals-lot"),
    path("chemicals/lots/<str:code>/check/", lots.check, name="chemicals-lot-check"),
    path("chemicals/lots/<str:code>/use/", lots.put_in_use, name="chemicals-lot-use"),
    path("chemicals/lots/<str:code>/sheet/", lots.name_sheet, name="chemicals-lot-sheet"),
    path("chemicals/lots/<str:code>/expiry/", lots.expiry, name="chemicals-lot-expiry"),
    path("chemicals/movements/", ledger.movement_list, name="chemicals-movements"),
    path("chemicals/movements/<int:number>/correct/", ledger.correct, name="chemicals-movement-correct"),
    path("chemicals/tanks/", places.place_list, name="chemicals-places"),
    path("chemicals/tanks/new/", places.new, name="chemicals-place-new"),
    path("chemicals/tanks/<str:code>/", places.change, name="chemicals-place"),
    path("chemicals/tanks/<str:code>/count/", places.count_stock, name="chemicals-place-count"),
    path("chemicals/tanks/<str:code>/connection/", unloading.connection, name="chemicals-place-connection"),
    path("chemicals/tanks/<str:code>/stock/", counts.tank_page, name="chemicals-tank"),
    path("chemicals/tanks/<str:code>/level/", counts.count_level, name="chemicals-place-level"),
    path("chemicals/tanks/<str:code>/shape/", counts.shape, name="chemicals-place-shape"),
    path("chemicals/counts/<str:number>/", counts.count_page, name="chemicals-count"),
    path("chemicals/counts/<str:number>/book/", counts.book, name="chemicals-count-book"),
    path("chemicals/balance/", counts.reconciliation, name="chemicals-balance"),
    path("chemicals/ahead/", ahead.ahead_page, name="chemicals-ahead"),
    path("chemicals/sheets/", sheets.sheet_list, name="chemicals-sheets"),
    path("chemicals/sheets/new/", sheets.new, name="chemicals-sheet-new"),
    path("chemicals/sheets/<int:pk>/withdraw/", sheets.withdraw, name="chemicals-sheet-withdraw"),
]
