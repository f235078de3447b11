"""Batches: the list, the page of one batch, its acts, filling its tanks, and its story.

views.py    the list, the page of one batch, its frozen plan, its story
entries.py  writing an entry down, leaving it without a value, and correcting one
checks.py   second persons: the check of a critical entry, what two tick together
steps.py    starting the batch, starting, ending and skipping steps
acts.py     hold, interrupt, resume, abort, rework, scrap, deviations: full pages with a reason
filling.py  tanks of a passed batch: shell, volume, set aside, finish
"""

from django.urls import path

from regenplant.web.areas.batches import acts, checks, entries, filling, steps, views

urlpatterns = [
    path("batches/", views.listing, name="batches"),
    path("batches/<str:number>/", views.detail, name="batches-detail"),
    path("batches/<str:number>/plan/", views.plan, name="batches-plan"),
    path("batches/<str:number>/plan.json", views.plan_figures, name="batches-plan-json"),
    path("batches/<str:number>/history/", views.history, name="batches-history"),
    path("batches/<str:number>/start/", steps.start, name="batches-start"),
    path("batches/<str:number>/steps/<int:step>/start/", steps.start_step, name="batches-step-start"),
    path("batches/<str:number>/steps/<int:step>/finish/", steps.finish, name="batches-step-finish"),
    path("batches/<str:number>/steps/<int:step>/end-early/", steps.end_early, name="batches-step-end-early"),
    path("batches/<str:number>/steps/<int:step>/skip/", steps.skip, name="batches-step-skip"),
    path("batches/<str:number>/steps/<int:step>/entries/", entries.write, name="batches-entry"),
    path("batches/<str:number>/steps/<int:step>/ticks/", entries.tick, name="batches-ticks"),
    path(
        "batches/<str:number>/steps/<int:step>/entries/<str:key>/leave/",
        entries.leave,
        name="batches-entry-leave",
    ),
    path(
        "batches/<str:number>/steps/<int:step>/entries/<str:key>/together/",
        checks.together,
        name="batches-entry-together",
    ),
    path("batches/<str:number>/checks/<str:kind>/<int:pk>/", checks.check, name="batches-check"),
    path("batches/<str:number>/entries/<int:entry>/correct/", entries.correct, name="batches-entry-correct"),
    path("batches/<str:number>/hold/", acts.hold, name="batches-hold"),
    path("batches/<str:number>/interrupt/", acts.interrupt, name="batches-interrupt"),
    path("batches/<str:number>/resume/", acts.resume, name="batches-resume"),
    path("batches/<str:number>/abort/", acts.abort, name="batches-abort"),
    path("batches/<str:number>/rework/", acts.rework, name="batches-rework"),
    path("batches/<str:number>/scrap/", acts.scrap, name="batches-scrap"),
    path("batches/<str:number>/deviations/new/", acts.deviation, name="batches-deviation"),
    path("batches/<str:number>/fill/", filling.fill, name="batches-fill"),
    path("batches/<str:number>/fill/finish/", filling.finish, name="batches-fill-finish"),
    path("batches/<str:number>/fill/<str:serial>/", filling.tank, name="batches-fill-tank"),
]
