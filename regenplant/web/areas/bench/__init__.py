"""The bench calculator on a page: choose a quantity, type what is known, read the answer and its working.

The address holds everything that was typed, so a page can be kept and sent. Nothing is recorded.
"""

from django.urls import path

from regenplant.web.areas.bench import views

urlpatterns = [
    path("bench/", views.bench, name="bench"),
    path("bench/<slug:key>/", views.quantity, name="bench-quantity"),
    path("bench/<slug:key>/answer.json", views.answer_json, name="bench-json"),
    path("bench/<slug:key>/understand/", views.understand, name="bench-understand"),
]
