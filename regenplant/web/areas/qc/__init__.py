"""Quality control: the queue, the decision on one batch, its release."""

from django.urls import path

from regenplant.web.areas.qc import views

urlpatterns = [
    path("qc/", views.queue, name="qc"),
    path("batches/<str:number>/qc/", views.decision, name="qc-decision"),
    path("batches/<str:number>/qc/measure/<str:key>/", views.measure, name="qc-measure"),
    path(
        "batches/<str:number>/qc/measurements/<int:measurement_id>/correct/", views.correct, name="qc-correct"
    ),
    path("batches/<str:number>/release/", views.release, name="qc-release"),
]
