"""Addresses of discharges, excursions and monthly reports."""

from django.urls import path

from regenplant.web.areas.waste import discharges, excursions, reports

TAB = {"tab": "chemicals"}

urlpatterns = [
    path("waste/discharges/", discharges.list_page, TAB, name="waste-discharges"),
    path("waste/discharges/new/", discharges.new, TAB, name="waste-discharge-new"),
    path("waste/discharges/<str:number>/", discharges.page, TAB, name="waste-discharge"),
    path("waste/discharges/<str:number>/mixing/", discharges.mixing, TAB, name="waste-discharge-mixing"),
    path("waste/discharges/<str:number>/read/", discharges.read, TAB, name="waste-discharge-read"),
    path("waste/discharges/<str:number>/release/", discharges.release, TAB, name="waste-discharge-release"),
    path("waste/discharges/<str:number>/close/", discharges.close, TAB, name="waste-discharge-close"),
    path("waste/discharges/<str:number>/give-up/", discharges.give_up, TAB, name="waste-discharge-give-up"),
    path("waste/excursions/", excursions.list_page, TAB, name="waste-excursions"),
    path("waste/excursions/new/", excursions.new, TAB, name="waste-excursion-new"),
    path("waste/excursions/<str:number>/", excursions.page, TAB, name="waste-excursion"),
    path("waste/excursions/<str:number>/follow-up/", excursions.follow, TAB, name="waste-excursion-follow"),
    path("waste/excursions/<str:number>/close/", excursions.close, TAB, name="waste-excursion-close"),
    path("waste/reports/", reports.list_page, TAB, name="waste-reports"),
    path("waste/reports/<str:month>/", reports.page, TAB, name="waste-report"),
    path("waste/reports/<str:month>/sign/", reports.sign_page, TAB, name="waste-report-sign"),
]
