"""The plant's profile, and the way to the eyewash test and the emergency page."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.plant import services
from regenplant.plant.models import PlantProfile
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import plant_day, profile
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.areas.setup.forms import ProfileForm
from regenplant.web.house_form import posted
from regenplant.web.presenters.feed import feed_view
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def plant_page(request: HttpRequest) -> HttpResponse:
    plant = profile()
    context = {
        "rows": shown.profile_rows(plant, permit_in_force(timezone.now()).content),
        "feed": feed_view(plant, unit_system_of(request)),
        "overdue": shown.eyewash_sentence(plant, plant_day(timezone.now())),
        "edit": right(request, "plant.edit"),
        "daily": right(request, "plant.daily"),
        "story": story([("plant", "1")], newest_first=True, limit=15),
    }
    return render(request, "setup/plant.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest) -> HttpResponse:
    stored = PlantProfile.objects.filter(pk=1).first()
    initial = (
        ProfileForm.initial_of(stored) if stored else {**ProfileForm.initial_of(profile()), "version": None}
    )
    form = ProfileForm(posted(request), initial=initial, system=unit_system_of(request))
    act = Act(
        title="Change the plant’s profile",
        sentence="It holds for every page and every new plan. What is frozen stays as it was.",
        permission="plant.edit",
        service=services.save_profile,
        arguments=lambda: {"profile": form.settings(stored or profile()), "version": form.shown_version},
        said=lambda outcome: "Written: the plant’s profile.",
        then=lambda outcome: reverse("setup-plant"),
        back_url=reverse("setup-plant"),
    )
    return act_page(request, form, act)
