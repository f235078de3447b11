"""Meter feeds: which in-line meter sends its readings, from which vessel, with which token or topic. A token is shown once."""

from __future__ import annotations

from collections.abc import Callable

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.plant import services
from regenplant.plant.models import Instrument, MeterFeed, Vessel
from regenplant.plant.selectors import is_instrument_valid, plant_day
from regenplant.plant.services import MeterFeedSettings, NewToken
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page, shown_act
from regenplant.web.acting import try_act
from regenplant.web.areas.setup import shown
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.rights import right
from regenplant.web.tables.setup import MeterFeedTable
from regenplant.web.templatetags.quantities import when

BOTH = require_http_methods(["GET", "HEAD", "POST"])
INFORMS = "A meter informs. It opens no valve and ends no rinse; whoever stands at the vessel does."
_TOPIC_HELP = (
    "For MQTT: where the meter publishes, such as rinse/c1/outlet. Empty: it sends by HTTP alone. Let the broker allow "
    "nobody else to publish there."
)


def _vessel_field() -> forms.ModelChoiceField:
    return forms.ModelChoiceField(
        queryset=Vessel.objects.filter(is_active=True),
        label="Vessel it sits at",
        empty_label="Choose the vessel",
        help_text="What it sends belongs to the rinse that runs there.",
    )


class MeterFeedForm(HouseForm):
    """A new feed."""

    code = words_field(16, label="Code", help_text="As on the meter’s label. It never changes.")
    name = words_field(80, label="Name", help_text="As people call it: “Outlet of C1”.")
    instrument = forms.ModelChoiceField(
        queryset=Instrument.objects.filter(kind=Instrument.Kind.CONDUCTIVITY, is_active=True).exclude(
            feeds__is_active=True
        ),
        label="Cell",
        empty_label="Choose the cell",
        help_text="Its calibration, cell constant and compensation hold for what it sends.",
    )
    vessel = _vessel_field()
    topic = words_field(services.LONGEST_TOPIC, label="Topic", required=False, help_text=_TOPIC_HELP)

    def settings(self) -> MeterFeedSettings:
        return MeterFeedSettings(
            code=self.text("code"),
            name=self.text("name"),
            instrument_id=self.cleaned_data["instrument"].pk,
            vessel_id=self.cleaned_data["vessel"].pk,
            topic=self.text("topic"),
        )


class ChangeMeterFeedForm(HouseForm):
    name = words_field(80, label="Name")
    vessel = _vessel_field()
    topic = words_field(services.LONGEST_TOPIC, label="Topic", required=False, help_text=_TOPIC_HELP)


class WhyForm(HouseForm):
    reason = words_field(300, rows=2, label="Why", help_text="At least five characters.")


@require_safe
def feed_list(request: HttpRequest) -> HttpResponse:
    feeds = MeterFeed.objects.select_related("instrument", "vessel", "account")
    sending = sum(1 for feed in feeds if feed.is_active)
    context = {
        "title": "Meter feeds",
        "sentence": f"{shown.count(sending, 'in-line meter')} may send readings. {INFORMS}",
        "add_url": reverse("setup-meter-feed-new"),
        "add": "Register a meter feed",
        "right": right(request, "plant.edit"),
    }
    return listing.answer(request, "setup/list.html", MeterFeedTable(feeds), "meter-feeds", context)


@require_safe
def feed_page(request: HttpRequest, code: str) -> HttpResponse:
    feed = _feed(code)
    context = {
        "feed": feed,
        "sentence": _sentence(feed),
        "rows": _rows(feed),
        "edit": right(request, "plant.edit"),
        "informs": INFORMS,
        "story": story([("meter_feed", str(feed.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/meter_feed.html", context)


@never_cache
@BOTH
def new(request: HttpRequest) -> HttpResponse:
    form = MeterFeedForm(posted(request))
    act = Act(
        title="Register a meter feed",
        sentence=f"It gets an account of its own and a token, shown once. {INFORMS}",
        permission="plant.edit",
        service=services.register_meter_feed,
        arguments=lambda: {"feed": form.settings()},
        said=lambda outcome: "",
        then=lambda outcome: _page(outcome.result.feed),
        back_url=reverse("setup-meter-feeds"),
        button="Register it and show the token",
    )
    return _with_token(request, form, act)


@BOTH
def change(request: HttpRequest, code: str) -> HttpResponse:
    feed = _feed(code)
    initial = {"name": feed.name, "vessel": feed.vessel_id, "topic": feed.topic, "version": feed.version}
    form = ChangeMeterFeedForm(posted(request), initial=initial)
    act = Act(
        title=f"Change meter feed {feed.code}",
        sentence="Readings already taken stay where they are. For another cell register another feed.",
        permission="plant.edit",
        service=services.change_meter_feed,
        arguments=lambda: {
            "feed_id": feed.pk,
            "name": form.text("name"),
            "vessel_id": form.cleaned_data["vessel"].pk,
            "topic": form.text("topic"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: meter feed {outcome.result.code}.",
        then=lambda outcome: _page(feed),
        back_url=_page(feed),
    )
    return act_page(request, form, act)


@never_cache
@BOTH
def renew(request: HttpRequest, code: str) -> HttpResponse:
    form, act = _asking_why(
        request,
        _feed(code),
        title="New token for {code}",
        sentence="The old token counts for nothing from the same moment. The new one is shown once.",
        service=services.renew_token,
        button="Make a new token and show it",
    )
    return _with_token(request, form, act)


@never_cache
@BOTH
def reopen(request: HttpRequest, code: str) -> HttpResponse:
    form, act = _asking_why(
        request,
        _feed(code),
        title="Open meter feed {code} again",
        sentence="The same account as before, with a new token, shown once.",
        service=services.open_meter_feed,
        button="Open it and show the token",
    )
    return _with_token(request, form, act)


@BOTH
def revoke(request: HttpRequest, code: str) -> HttpResponse:
    form, act = _asking_why(
        request,
        _feed(code),
        title="Revoke the token of {code}",
        sentence="Nothing is taken over HTTP from it any more. A topic goes on; close the feed to stop both.",
        service=services.revoke_token,
        button="Revoke the token",
        said="Written: {code} has no token any more.",
        is_stopping=True,
    )
    return act_page(request, form, act)


@BOTH
def close(request: HttpRequest, code: str) -> HttpResponse:
    form, act = _asking_why(
        request,
        _feed(code),
        title="Close meter feed {code}",
        sentence="Nothing is taken from it any more, by token or by topic. All it sent stays.",
        service=services.close_meter_feed,
        button="Close the feed",
        said="Written: meter feed {code} is closed.",
        is_stopping=True,
    )
    return act_page(request, form, act)


def _feed(code: str) -> MeterFeed:
    return get_object_or_404(
        MeterFeed.objects.select_related("instrument", "vessel", "account", "registered_by"),
        code=code.upper(),
    )


def _page(feed: MeterFeed) -> str:
    return reverse("setup-meter-feed", args=[feed.code])


def _asking_why(
    request: HttpRequest,
    feed: MeterFeed,
    *,
    title: str,
    sentence: str,
    service: Callable[..., Outcome],
    button: str,
    said: str = "",
    is_stopping: bool = False,
) -> tuple[HouseForm, Act]:
    """Form and act of what is done to one feed with a reason. ``{code}`` in title and receipt is the feed's."""
    form = WhyForm(posted(request), initial={"version": feed.version})
    act = Act(
        title=title.format(code=feed.code),
        sentence=sentence,
        permission="plant.edit",
        service=service,
        arguments=lambda: {
            "feed_id": feed.pk,
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: said.format(code=feed.code),
        then=lambda outcome: _page(feed),
        back_url=_page(feed),
        button=button,
        is_stopping=is_stopping,
    )
    return form, act


def _with_token(request: HttpRequest, form: HouseForm, act: Act) -> HttpResponse:
    """A page that acts and then shows, once and on this very answer, the token that was made: no receipt, and nowhere to go on to."""
    if request.method == "POST" and form.is_valid():
        outcome = try_act(form, act.service, request, **act.arguments())
        if outcome is not None:
            made: NewToken = outcome.result
            context = {
                "feed": made.feed,
                "token": made.token,
                "address": request.build_absolute_uri("/api/readings/"),
            }
            return render(request, "setup/meter_feed_token.html", context)
    return shown_act(request, form, act)


def _sentence(feed: MeterFeed) -> str:
    if not feed.is_active:
        return "Closed. Nothing is taken from it; all it sent stays."
    ways = [
        *(["a token over HTTP"] if feed.token_digest else []),
        *([f"topic {feed.topic}"] if feed.topic else []),
    ]
    if not ways:
        return "Open, but without a token and without a topic it can send nothing."
    return f"Sends by {' and '.join(ways)} to the rinse that runs in vessel {feed.vessel.code}."


def _rows(feed: MeterFeed) -> shown.Rows:
    valid = is_instrument_valid(feed.instrument, plant_day(timezone.now()))
    return [
        (
            "Cell",
            f"{feed.instrument.code}, {feed.instrument.name}; "
            + (
                "in calibration"
                if valid
                else "not in calibration, so what it sends informs and proves nothing"
            ),
        ),
        ("Vessel", f"{feed.vessel.code}, {feed.vessel.name}"),
        ("Topic", feed.topic or shown.NONE),
        ("Token", f"made {when(feed.token_made_at)}" if feed.token_digest else "none"),
        ("Account", f"{feed.account.username}, a device; it signs nothing and has no role"),
        ("Registered", f"{when(feed.registered_at)} by {feed.registered_by.full_name}"),
        ("In use", "yes" if feed.is_active else "no"),
    ]
