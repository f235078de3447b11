"""Audit of chemical use: theory, plan and use of a period by any group, one batch down to its readings, prices, levels, signed reports."""

from django.urls import path

from regenplant.web.areas.chemical_use import acts, views, watch

TAB = {"tab": "chemicals"}

urlpatterns = [
    path("chemicals/use/", views.use, TAB, name="chemical-use"),
    path("chemicals/use/batches/<str:number>/", views.one_batch, TAB, name="chemical-use-batch"),
    path("chemicals/use/prices/", acts.price_list, TAB, name="use-prices"),
    path("chemicals/use/prices/new/", acts.new_price, TAB, name="use-price-new"),
    path("chemicals/use/watch/", watch.watch, TAB, name="use-watch"),
    path("chemicals/use/watch/<slug:measure>/", watch.measure_level, TAB, name="use-watch-measure"),
    path("chemicals/use/watch-levels/", acts.watch_levels, TAB, name="use-watch-levels"),
    path("chemicals/use/reports/", acts.report_list, TAB, name="use-reports"),
    path("chemicals/use/reports/new/", acts.new_report, TAB, name="use-report-new"),
    path("chemicals/use/reports/<str:number>/", acts.report, TAB, name="use-report"),
]
