"""Certificates of quality: issue one, look whether one still holds, withdraw one."""

from django.urls import path

from regenplant.web.areas.certificates import views

TAB = {"tab": "qc"}

urlpatterns = [
    path("certificates/", views.listing, TAB, name="certificates"),
    path("certificates/new/", views.new, TAB, name="certificates-new"),
    path("certificates/<str:number>/", views.detail, TAB, name="certificate"),
    path("certificates/<str:number>/withdraw/", views.withdraw, TAB, name="certificate-withdraw"),
]
