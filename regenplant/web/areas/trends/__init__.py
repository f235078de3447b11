"""Trends: which lots take more rinse than they did, first-pass yield, failures; and looking at a drift."""

from django.urls import path

from regenplant.web.areas.trends import views

TAB = {"tab": "review"}

urlpatterns = [
    path("trends/", views.overview, TAB, name="trends"),
    path("trends/failures/", views.failures, TAB, name="trends-failures"),
    path("trends/lots/<str:code>/", views.lot, TAB, name="trends-lot"),
    path("trends/alerts/<int:alert_id>/", views.look, TAB, name="trends-look"),
]
