"""The day plan: what holds, the search of a new plan, one plan with what may be done to it.

forms.py   what is written
views.py   the pages
acts.py    pages with one form and one act
"""

from django.urls import path

from regenplant.web.areas.day_plan import acts, views

TAB = {"tab": "waiting"}

urlpatterns = [
    path("day-plan/", views.home, TAB, name="day-plan"),
    path("day-plan/new/", acts.new, TAB, name="day-plan-new"),
    path("day-plan/<str:number>/", views.page, TAB, name="day-plan-one"),
    path("day-plan/<str:number>/stop/", acts.stop, TAB, name="day-plan-stop"),
    path("day-plan/<str:number>/set-aside/", acts.set_aside, TAB, name="day-plan-set-aside"),
]
