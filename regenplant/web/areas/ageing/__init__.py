"""Ageing of resin: which lots age, worst first; one lot with its evidence; samples, looks and the factor that plans count with."""

from django.urls import path

from regenplant.web.areas.ageing import views

TAB = {"tab": "review"}

urlpatterns = [
    path("resin-ageing/", views.overview, TAB, name="resin-ageing"),
    path("resin-ageing/<str:code>/", views.lot_page, TAB, name="resin-ageing-lot"),
    path("resin-ageing/<str:code>/sample/", views.sample, TAB, name="resin-ageing-sample"),
    path("resin-ageing/<str:code>/figures/<int:figure_id>/", views.correct, TAB, name="resin-ageing-correct"),
    path("resin-ageing/<str:code>/look/", views.look, TAB, name="resin-ageing-look"),
    path("resin-ageing/<str:code>/capacity/", views.capacity, TAB, name="resin-ageing-capacity"),
]
