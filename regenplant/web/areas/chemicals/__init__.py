"""Chemicals: stock, deliveries, strength checks, lots, the ledger, tanks and data sheets."""

from django.urls import path

from regenplant.web.areas.chemicals import ledger, lots, places, sheets, stock

urlpatterns = [
    path("chemicals/", stock.stock_page, name="chemicals"),
    path("chemicals/receive/", stock.receive, name="chemicals-receive"),
    path("chemicals/lots/", lots.lot_list, name="chemicals-lots"),
    path("chemicals/lots/<str:code>/", lots.lot_page, name="chemicals-lot"),
    path("chemicals/lots/<str:code>/check/", lots.check, name="chemicals-lot-check"),
    path("chemicals/lots/<str:code>/use/", lots.put_in_use, name="chemicals-lot-use"),
    path("chemicals/movements/", ledger.movement_list, name="chemicals-movements"),
    path("chemicals/movements/<int:number>/correct/", ledger.correct, name="chemicals-movement-correct"),
    path("chemicals/tanks/", places.place_list, name="chemicals-places"),
    path("chemicals/tanks/new/", places.new, name="chemicals-place-new"),
    path("chemicals/tanks/<str:code>/", places.change, name="chemicals-place"),
    path("chemicals/tanks/<str:code>/count/", places.count_stock, name="chemicals-place-count"),
    path("chemicals/sheets/", sheets.sheet_list, name="chemicals-sheets"),
    path("chemicals/sheets/new/", sheets.new, name="chemicals-sheet-new"),
    path("chemicals/sheets/<int:pk>/withdraw/", sheets.withdraw, name="chemicals-sheet-withdraw"),
]
