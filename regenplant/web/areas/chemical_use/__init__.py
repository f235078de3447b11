"""Chemical use: planned against actual, per batch, per period, by family."""

from django.urls import path

from regenplant.web.areas.chemical_use import views

urlpatterns = [path("chemicals/use/", views.use, {"tab": "chemicals"}, name="chemical-use")]
