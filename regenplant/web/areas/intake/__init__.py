"""Intake: tanks on their way, the dock, receiving a tank, the look-over and the verdict."""

from django.urls import path

from regenplant.web.areas.intake import expected, views

urlpatterns = [
    path("intake/", views.dock_page, name="intake"),
    path("intake/receive/<str:serial>/", views.receive, name="intake-receive"),
    path("intake/expected/", expected.listing, {"tab": "intake"}, name="expected-tanks"),
    path("intake/expected/new/", expected.new, {"tab": "intake"}, name="expected-tanks-new"),
    path(
        "intake/expected/<str:number>/change/",
        expected.change,
        {"tab": "intake"},
        name="expected-tanks-change",
    ),
    path(
        "intake/expected/<str:number>/call-off/",
        expected.call_off,
        {"tab": "intake"},
        name="expected-tanks-call-off",
    ),
    path("intake/unknown/", views.unknown, name="intake-unknown"),
    path("intake/<str:number>/", views.visit, name="intake-visit"),
    path("intake/<str:number>/look/", views.look, name="intake-look"),
    path("intake/<str:number>/verdict/", views.verdict, name="intake-verdict"),
]
