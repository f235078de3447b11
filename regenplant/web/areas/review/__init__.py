"""The supervisor's review: what was unusual, first; and the state of the record."""

from django.urls import path

from regenplant.web.areas.review import views

urlpatterns = [
    path("review/", views.review, name="review"),
    path("review/deviations/<str:number>/", views.deviation, name="review-deviation"),
    path("review/record/", views.record, name="review-chain"),
]
