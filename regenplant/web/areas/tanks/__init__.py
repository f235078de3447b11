"""Tanks and customers: listings, histories, and the few acts that belong to them."""

from django.urls import path

from regenplant.web.areas.tanks import customers, views, withdrawing

urlpatterns = [
    path("tanks/", views.listing, name="tanks"),
    path("tanks/new/", views.new, name="tanks-new"),
    path("tanks/<str:serial>/", views.detail, name="tanks-detail"),
    path("tanks/<str:serial>/change/", views.change, name="tanks-change"),
    path("tanks/<str:serial>/shell/", views.shell, name="tanks-shell"),
    path("tanks/<str:serial>/ship/", views.ship, name="tanks-ship"),
    path("tanks/<str:serial>/withdraw/", withdrawing.withdraw, name="tanks-withdraw"),
    path("tanks/<str:serial>/put-back/", withdrawing.put_back, name="tanks-put-back"),
    path("tanks/<str:serial>/discard/", withdrawing.discard, name="tanks-discard"),
    path("customers/", customers.listing, {"tab": "tanks"}, name="customers"),
    path("customers/new/", customers.new, {"tab": "tanks"}, name="customers-new"),
    path("customers/<str:code>/", customers.detail, {"tab": "tanks"}, name="customers-detail"),
    path("customers/<str:code>/rush/", customers.rush, {"tab": "tanks"}, name="customers-rush"),
    path("customers/<str:code>/rush/end/", customers.rush_end, {"tab": "tanks"}, name="customers-rush-end"),
    path("customers/<str:code>/site/", customers.site, {"tab": "tanks"}, name="customers-site"),
]
