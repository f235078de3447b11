"""Emergency: where the showers are, what to do about a spill, whom to call, which chemical stands where.

Readable without signing in (CS-09), as a page and as a card to print. It is read in a hurry: few words, large, no form.
"""

from __future__ import annotations

from django import forms
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.chemicals import selectors
from regenplant.documents import emergency_card as card
from regenplant.documents.page import page_size
from regenplant.plant import services
from regenplant.plant.selectors import plant_day, profile
from regenplant.safety.models import WashStation
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemicals import shown
from regenplant.web.areas.setup.shown import eyewash_sentence
from regenplant.web.house_form import HouseForm, day_field, posted, words_field
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


class EyewashForm(HouseForm):
    tested_on = day_field(label="Tested on")
    answer = forms.ChoiceField(
        label="What was found",
        choices=[
            ("works", "All of them run clear, at once and long enough"),
            ("fails", "One of them does not"),
        ],
        widget=forms.RadioSelect,
    )
    note = words_field(
        200,
        rows=2,
        label="Note",
        required=False,
        help_text="Needed when one does not work: which, and who was told.",
    )


@login_not_required
@require_safe
def emergency(request: HttpRequest) -> HttpResponse:
    plant = profile()
    sheets = selectors.data_sheets(only_in_force=True)
    context = {
        "places": plant.shower_places.splitlines(),
        "spill": plant.spill_text.splitlines(),
        "calls": plant.call_text.splitlines(),
        "stored": [
            (row, card.strength_words(row), card.product_words(row).replace("US gal", "US\u00a0gal"))
            for row in card.stored_chemicals()
        ],
        "panels": [(shown.sheet_caution(sheet), shown.sheet_source(sheet)) for sheet in sheets],
        "overdue": eyewash_sentence(plant, plant_day(timezone.now())),
        "daily": right(request, "plant.daily"),
    }
    return render(request, "emergency/emergency.html", context)


@login_not_required
@never_cache
@require_safe
def emergency_card(request: HttpRequest) -> HttpResponse:
    """The card to print and hang up, as it stands now. No issue of the record: whoever reads the page may print it."""
    usual = "letter" if unit_system_of(request) == "us" else "a4"
    size = page_size(request.GET.get("size", "") or usual, card.SIZES)
    content = card.draw_card(card.card_content(timezone.now()), size)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="emergency-card.pdf"'
    return response


@require_http_methods(["GET", "HEAD", "POST"])
def eyewash(request: HttpRequest) -> HttpResponse:
    if WashStation.objects.filter(is_in_use=True).exists():
        return redirect("safety-washing-round")
    plant, today = profile(), plant_day(timezone.now())
    form = EyewashForm(posted(request), initial={"tested_on": today, "version": plant.version})
    last = plant.eyewash_tested_on
    act = Act(
        title="Eyewash and shower test",
        sentence=f"Last test {last}, at most {plant.eyewash_test_interval_days} days allowed."
        if last
        else "No working test is written down yet.",
        permission="plant.daily",
        service=services.record_eyewash_test,
        arguments=lambda: {
            "tested_on": form.cleaned_data["tested_on"],
            "is_working": form.cleaned_data["answer"] == "works",
            "note": form.text("note"),
            "version": form.shown_version,
        },
        said=lambda outcome: (
            "Written: showers and eyewashes work."
            if outcome.facts["answer"] == "works"
            else "Written: one does not work. No chemical starts until a test finds all of them working. Tell the safety lead."
        ),
        then=lambda outcome: reverse("emergency"),
        back_url=reverse("emergency"),
    )
    return act_page(request, form, act)


urlpatterns = [
    path("emergency/", emergency, name="emergency"),
    path("emergency/card.pdf", emergency_card, name="emergency-card"),
    path("emergency/eyewash/", eyewash, name="emergency-eyewash"),
]
