"""The one root URL table: each area of the web brings its own list."""

from importlib import import_module

from django.urls import URLPattern, URLResolver, path

from regenplant.web import parts
from regenplant.web.api.addresses import API_URLS
from regenplant.web.areas import signin, understand

AREAS: tuple[str, ...] = (
    "intake",
    "tanks",
    "scan",
    "waiting",
    "day_plan",
    "rinse",
    "papers",
    "certificates",
    "qc",
    "review",
    "deviations",
    "tracing",
    "chemical_use",
    "setup",
    "resin_lots",
    "chemicals",
    "waste",
    "emergency",
    "programs",
    "floor",
    "start",
    "authority",
    "alerts",
    "safety",
    "trends",
    "ageing",
    "bench",
    "how_we_know",
    "keeping",
    "handover",
    "paper_forms",
    "batches",
)
"""Modules of ``regenplant.web.areas`` with a list ``urlpatterns``."""

handler400 = "regenplant.web.failing.refused"
handler500 = "regenplant.web.failing.failed"
"""Also where a database that is away ends up: answered with 503."""

urlpatterns: list[URLPattern | URLResolver] = [
    path("", signin.home, name="home"),
    path("sign-in/", signin.sign_in, name="sign-in"),
    path("sign-out/", signin.sign_out, name="sign-out"),
    path("password/", signin.password, name="password"),
    path("stay/", signin.stay, name="stay"),
    path("preferences/", signin.preferences, name="preferences"),
    path("understand/", understand.understand, name="understand"),
    path("parts/", parts.parts, name="parts"),
]
for _area in AREAS:
    urlpatterns += import_module(f"regenplant.web.areas.{_area}").urlpatterns
urlpatterns.append(path("api/", API_URLS))
