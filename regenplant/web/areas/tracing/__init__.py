"""Tracing: investigations with their recall lists, and the ways between tanks, batches, lots and customers."""

from django.urls import path

from regenplant.web.areas.tracing import views

TAB = {"tab": "review"}

urlpatterns = [
    path("tracing/", views.start, TAB, name="tracing"),
    path("tracing/investigation/", views.investigation, TAB, name="tracing-investigation"),
    path("tracing/investigation/recall/", views.recall, TAB, name="tracing-recall"),
    path("tracing/investigation/paper.pdf", views.paper, TAB, name="tracing-paper"),
    path("tracing/trace/", views.trace, TAB, name="tracing-trace"),
]
