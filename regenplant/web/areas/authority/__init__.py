"""The authority matrix: who may do what in which class; drafted, approved and signed; and the time-outs."""

from django.urls import path

from regenplant.web.areas.authority import approval, drafting, pages

urlpatterns = [
    path("authority/", pages.matrix, name="authority"),
    path("authority/draft/", drafting.draft, name="authority-draft"),
    path("authority/times/", drafting.times, name="authority-times"),
    path("authority/<int:number>/", pages.version, name="authority-version"),
    path("authority/<int:number>/approve/", approval.approve, name="authority-approve"),
    path("authority/<int:number>/withdraw/", approval.withdraw, name="authority-withdraw"),
    path("authority/<int:number>/take-back/", approval.take_back, name="authority-take-back"),
]
