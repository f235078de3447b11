"""Resin lots: a lot as a body of resin, what is done with it in the store, and where its resin came from and went.

views.py    the page of a lot, its trace both ways, its sheet
acts.py     mix, top up, split, count, scrap, conditioned
visits.py   every round trip with its resin; every lot of a tank and of a customer
batches.py  resin from the store into a bed, and what is left of a batch into the store
"""

from django.urls import path

from regenplant.web.areas.resin_lots import acts, batches, views, visits

urlpatterns = [
    path("setup/lots/<str:code>/", views.page, name="setup-lot"),
    path("setup/lots/<str:code>/trace/", views.trace, name="setup-lot-trace"),
    path("setup/lots/<str:code>/visits/", visits.of_lot, name="setup-lot-visits"),
    path("tanks/<str:serial>/lots/", visits.of_tank, {"tab": "tanks"}, name="tanks-lots"),
    path("customers/<str:code>/lots/", visits.of_customer, {"tab": "tanks"}, name="customers-lots"),
    path("setup/lots/<str:code>/sheet.pdf", views.sheet, name="setup-lot-sheet"),
    path("setup/lots/<str:code>/mix/", acts.mix, name="setup-lot-mix"),
    path("setup/lots/<str:code>/top-up/", acts.top_up, name="setup-lot-top-up"),
    path("setup/lots/<str:code>/split/", acts.split, name="setup-lot-split"),
    path("setup/lots/<str:code>/count/", acts.count, name="setup-lot-count"),
    path("setup/lots/<str:code>/conditioned/", acts.conditioned, name="setup-lot-conditioned"),
    path("setup/lots/<str:code>/scrap/", acts.scrap, name="setup-lot-scrap"),
    path("batches/<str:number>/top-up/", batches.top_up, name="batches-top-up"),
    path("batches/<str:number>/keep-rest/", batches.keep_rest, name="batches-keep-rest"),
]
