"""The day plan: what holds, the search of a new plan, one plan with what may be done to it.

forms.py      what is written
views.py      the pages
acts.py       asking for a plan, stopping it, setting it aside, accepting it; cancelling a planned batch
asking.py     a tank of a plan, and what would bring it on time
compare.py    two plans side by side, and one against the whiteboard way
coming.py     the coming two weeks: purchase and staffing
hands_on.py   a batch of a draft, and the decisions about it or about several tanks at once
"""

from django.urls import path

from regenplant.web.areas.day_plan import acts, asking, coming, compare, hands_on, views

TAB = {"tab": "waiting"}

urlpatterns = [
    path("day-plan/", views.home, TAB, name="day-plan"),
    path("day-plan/new/", acts.new, TAB, name="day-plan-new"),
    path("day-plan/figures/", acts.figures, TAB, name="day-plan-figures"),
    path("day-plan/coming/", coming.page, TAB, name="day-plan-coming"),
    path("day-plan/compare/", compare.page, TAB, name="day-plan-compare"),
    path("day-plan/<str:number>/", views.page, TAB, name="day-plan-one"),
    path("day-plan/<str:number>/first-come/", compare.first_come, TAB, name="day-plan-first-come"),
    path("day-plan/<str:number>/stop/", acts.stop, TAB, name="day-plan-stop"),
    path("day-plan/<str:number>/set-aside/", acts.set_aside, TAB, name="day-plan-set-aside"),
    path("day-plan/<str:number>/copy/", acts.copy, TAB, name="day-plan-copy"),
    path("day-plan/<str:number>/accept/", acts.accept, TAB, name="day-plan-accept"),
    path("planned/<str:code>/", views.planned, TAB, name="planned-batch"),
    path("planned/<str:code>/cancel/", acts.cancel, TAB, name="planned-batch-cancel"),
    path("day-plan/<str:number>/several/", hands_on.several, TAB, name="day-plan-several"),
    path("day-plan/<str:number>/undo/", hands_on.undo, TAB, name="day-plan-undo"),
    path("day-plan/<str:number>/batches/<str:name>/", hands_on.batch_page, TAB, name="day-plan-batch"),
    path("day-plan/<str:number>/batches/<str:name>/pin/", hands_on.pin, TAB, name="day-plan-pin"),
    path("day-plan/<str:number>/batches/<str:name>/split/", hands_on.split, TAB, name="day-plan-split"),
    path("day-plan/<str:number>/batches/<str:name>/join/", hands_on.join, TAB, name="day-plan-join"),
    path(
        "day-plan/<str:number>/batches/<str:name>/leave-out/",
        hands_on.leave_out,
        TAB,
        name="day-plan-leave-out",
    ),
    path("day-plan/<str:number>/tanks/<str:serial>/", asking.tank_page, TAB, name="day-plan-tank"),
    path("day-plan/<str:number>/tanks/<str:serial>/help/", asking.ask, TAB, name="day-plan-help"),
    path("day-plan/<str:number>/batches/<str:name>/rush/", hands_on.rush, TAB, name="day-plan-rush"),
]
