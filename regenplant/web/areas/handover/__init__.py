"""Shift handover: the live draft, signing it, taking it over, open items, and those before.

forms.py   what is written
views.py   the pages
"""

from django.urls import path

from regenplant.web.areas.handover import views

TAB = {"tab": "handover"}

urlpatterns = [
    path("handover/", views.draft, TAB, name="handover"),
    path("handover/past/", views.past, TAB, name="handover-past"),
    path("handover/items/new/", views.new_item, TAB, name="handover-item-new"),
    path("handover/items/<int:item_id>/close/", views.close_item, TAB, name="handover-item-close"),
    path("handover/<str:number>/", views.one, TAB, name="handover-one"),
]
