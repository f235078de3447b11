"""The supervisor's review: the queue, one record by exception, its signed versions, opening it again; the state of the record."""

from django.urls import path

from regenplant.web.areas.review import batch, record, views

TAB = {"tab": "review"}

urlpatterns = [
    path("review/", views.review, name="review"),
    path("review/record/", record.record, name="review-chain"),
    path("batches/<str:number>/review/", batch.review, TAB, name="review-batch"),
    path("batches/<str:number>/reopen/", batch.reopen, TAB, name="review-reopen"),
    path("batches/<str:number>/versions/", batch.versions, TAB, name="review-versions"),
]
