"""The rinse-down of one batch: curve, end point, readings, and who may judge."""

from django.urls import path

from regenplant.web.areas.rinse import logs, views

TAB = {"tab": "qc"}

urlpatterns = [
    path("batches/<str:number>/rinse/", views.rinse, TAB, name="rinse"),
    path("batches/<str:number>/rinse/now/", views.rinse_now, TAB, name="rinse-now"),
    path("batches/<str:number>/rinse/understood/", views.understood, TAB, name="rinse-understood"),
    path("batches/<str:number>/rinse/log/", logs.take_in, TAB, name="rinse-log"),
    path("batches/<str:number>/rinse/logs/<int:log_id>/", logs.log, TAB, name="rinse-log-page"),
    path("batches/<str:number>/rinse/logs/<int:log_id>/aside/", logs.set_aside, TAB, name="rinse-log-aside"),
    path(
        "batches/<str:number>/rinse/readings/<int:reading_id>/correct/",
        views.correct,
        TAB,
        name="rinse-correct",
    ),
]
