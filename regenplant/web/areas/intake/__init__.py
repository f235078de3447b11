"""Intake: the dock, receiving a tank, the look-over and the verdict."""

from django.urls import path

from regenplant.web.areas.intake import views

urlpatterns = [
    path("intake/", views.dock_page, name="intake"),
    path("intake/receive/<str:serial>/", views.receive, name="intake-receive"),
    path("intake/unknown/", views.unknown, name="intake-unknown"),
    path("intake/<str:number>/", views.visit, name="intake-visit"),
    path("intake/<str:number>/look/", views.look, name="intake-look"),
    path("intake/<str:number>/verdict/", views.verdict, name="intake-verdict"),
]
