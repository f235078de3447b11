"""Deviations: the list, one of them, and its acts.

views.py  the list and the page of one, with its decision
acts.py   who looks into it, what was done and what caused it, a new one that follows
"""

from django.urls import path

from regenplant.web.areas.deviations import acts, views

TAB = {"tab": "review"}

urlpatterns = [
    path("deviations/", views.listing, TAB, name="deviations"),
    path("deviations/<str:number>/", views.detail, TAB, name="deviations-detail"),
    path("deviations/<str:number>/owner/", acts.assign, TAB, name="deviations-assign"),
    path("deviations/<str:number>/cause/", acts.describe, TAB, name="deviations-describe"),
    path("deviations/<str:number>/follow/", acts.follow, TAB, name="deviations-follow"),
    path("review/deviations/<str:number>/", views.old_address, name="review-deviation"),
]
