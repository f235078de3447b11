"""Complete copies: making one, reading one that came from elsewhere, and how a customer verifies one.

forms.py   the file to read
views.py   the pages
retention.py   how long records are kept, legal holds, purges
"""

from django.urls import path

from regenplant.web.areas.keeping import retention, views

urlpatterns = [
    path("batches/<str:number>/copy/", views.copy, name="batches-copy"),
    path("batches/<str:number>/copy/<int:act>.sha256", views.digest, name="batches-copy-digest"),
    path("copies/read/", views.read, name="copies-read"),
    path("copies/verifying/", views.verifying, name="copies-verifying"),
    path("copies/verify_copy.py", views.verifier, name="copies-verifier"),
    path("retention/", retention.retention_page, name="retention"),
    path("retention/draft/", retention.draft, name="retention-draft"),
    path("retention/hold/", retention.place, name="retention-hold"),
    path("retention/hold/<str:number>/lift/", retention.lift, name="retention-lift"),
    path("retention/purge/<str:number>/", retention.purge, name="retention-purge"),
    path("retention/purged/<str:number>/", retention.purged, name="retention-purged"),
    path("retention/<int:number>/", retention.version_page, name="retention-version"),
    path("retention/<int:number>/approve/", retention.approve, name="retention-approve"),
    path("retention/<int:number>/withdraw/", retention.withdraw, name="retention-withdraw"),
]
