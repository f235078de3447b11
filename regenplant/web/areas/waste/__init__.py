"""Waste: the waste tanks and what stands in them."""

from django.urls import path

from regenplant.web.areas.waste import sewer_urls, views

TAB = {"tab": "chemicals"}

urlpatterns = [path("waste/", views.tanks, TAB, name="waste"), *sewer_urls.urlpatterns]
