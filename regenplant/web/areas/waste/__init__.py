"""Waste: the waste tanks and what stands in them, where steps drain, and what the site may take in."""

from django.urls import path

from regenplant.web.areas.waste import acts, sewer_urls, views

TAB = {"tab": "chemicals"}

urlpatterns = [
    path("waste/", views.tanks, TAB, name="waste"),
    path("waste/routes/", views.routes, TAB, name="waste-routes"),
    path("waste/routes/<str:number>/<int:step>/", acts.route, name="waste-route"),
    path("waste/batches/<str:number>/", views.batch_drains, TAB, name="waste-batch"),
    path("waste/site/", acts.site, name="waste-site"),
    path("waste/tanks/<str:code>/", views.tank, TAB, name="waste-tank"),
    path("waste/tanks/<str:code>/read/", acts.read, name="waste-read"),
    path("waste/tanks/<str:code>/treat/", acts.treat, name="waste-treat"),
    path("waste/tanks/<str:code>/switch/", acts.switch, name="waste-switch"),
    path("waste/tanks/<str:code>/take-away/", acts.take_away, name="waste-take-away"),
    *sewer_urls.urlpatterns,
]
