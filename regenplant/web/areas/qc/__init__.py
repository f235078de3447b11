"""Quality control: the queue, the decision on one batch, its release."""

from django.urls import path

from regenplant.web.areas.qc import samples, views, ways

TAB = {"tab": "qc"}

urlpatterns = [
    path("qc/", views.queue, name="qc"),
    path("batches/<str:number>/qc/", views.decision, name="qc-decision"),
    path("batches/<str:number>/qc/measure/<str:key>/", views.measure, name="qc-measure"),
    path(
        "batches/<str:number>/qc/measurements/<int:measurement_id>/correct/", views.correct, name="qc-correct"
    ),
    path("batches/<str:number>/qc/rinse-on/", ways.go_on, name="qc-continue"),
    path("batches/<str:number>/qc/downgrade/", ways.downgrade, name="qc-downgrade"),
    path("batches/<str:number>/qc/sample/", ways.sample, name="qc-sample"),
    path("samples/", samples.register, TAB, name="samples"),
    path("samples/<str:number>/", samples.one, TAB, name="samples-one"),
    path("samples/<str:number>/discard/", samples.discard, TAB, name="samples-discard"),
    path("batches/<str:number>/release/", views.release, name="qc-release"),
]
