"""Paper forms for hours without the system: issued, printed, entered by one person, confirmed by another.

forms.py   what is written on the pages
views.py   the pages
"""

from django.urls import path

from regenplant.web.areas.paper_forms import acts, views

urlpatterns = [
    path("paper-forms/", views.board, name="paper-forms"),
    path("paper-forms/issue/", acts.issue, name="paper-forms-issue"),
    path("paper-forms/leave/", acts.leave, name="paper-forms-leave"),
    path("paper-forms/<str:number>/", views.form_page, name="paper-forms-form"),
    path("paper-forms/<str:number>/take/", acts.take, name="paper-forms-take"),
    path("paper-forms/<str:number>/go-on/", acts.go_on, name="paper-forms-go-on"),
    path("paper-forms/<str:number>/scan/", acts.scan, name="paper-forms-scan"),
    path("paper-forms/<str:number>/scans/<int:scan_id>/", views.scan_file, name="paper-forms-scan-file"),
    path("paper-forms/<str:number>/back/", acts.back, name="paper-forms-back"),
    path("paper-forms/<str:number>/close/", acts.close, name="paper-forms-close"),
    path("papers/forms/<str:number>/form.pdf", views.one_pdf, name="paper-form"),
    path("papers/forms/<str:number>/pad.pdf", views.pad_pdf, name="paper-form-pad"),
]
