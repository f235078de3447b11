"""Alerts: about accounts, with what a supervisor found out; and about instruments, until they are calibrated and looked at."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.people import services
from regenplant.people.selectors import alerts_for
from regenplant.quality.drift import looked_at_alerts, open_alerts
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup.shown import count
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.presenters.instruments import instrument_alerts
from regenplant.web.presenters.trends import alert_sentence, looked_words
from regenplant.web.requests import person_of
from regenplant.web.rights import right

SHOWN = 50
"""Answered alerts on the page; older ones stand in the record."""


class AnswerForm(HouseForm):
    answer = words_field(
        300,
        rows=3,
        label="What was found, and done",
        help_text="Who tried, whether it was the person, what follows.",
    )


@require_safe
def alerts(request: HttpRequest) -> HttpResponse:
    """Alerts that wait, then those that were answered."""
    person = person_of(request)
    found = alerts_for(person)
    waiting = list(found.filter(answered_at__isnull=True))
    drifts = list(open_alerts())
    may = right(request, "alert.acknowledge")
    scope = "" if may.is_held else " You see those about your own account."
    says = (
        f"{count(len(waiting), 'alert waits', 'alerts wait')} for an answer."
        if waiting
        else ("No alert about an account waits." if drifts else "No alert waits.")
    )
    instruments = instrument_alerts(timezone.now())
    need = sum(bool(one.tone) for one in instruments)
    too = (
        f" {count(need, 'line about instruments needs', 'lines about instruments need')} a person."
        if need
        else ""
    )
    if drifts:
        drift = count(len(drifts), "lot takes", "lots take")
        says = f"{drift} more rinse than before. {says}"
    context = {
        "sentence": f"{says}{too}{scope}",
        "instruments": instruments,
        "waiting": waiting,
        "answered": list(found.filter(answered_at__isnull=False)[:SHOWN]),
        "may": may,
        "person": person,
        "drifts": [(alert, alert_sentence(alert), "") for alert in drifts],
        "looked_at": [
            (alert, alert_sentence(alert), looked_words(alert)) for alert in looked_at_alerts()[:SHOWN]
        ],
        "may_look": right(request, "trend.look"),
    }
    return render(request, "alerts/alerts.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, alert_id: int) -> HttpResponse:
    """Answer one alert."""
    alert = get_object_or_404(alerts_for(person_of(request)), pk=min(alert_id, 2**62))
    form = AnswerForm(posted(request))
    act = Act(
        title=f"Alert about {alert.person.full_name}",
        sentence=alert.sentence,
        permission="alert.acknowledge",
        service=services.answer_alert,
        arguments=lambda: {"alert_id": alert.pk, "answer": form.text("answer")},
        said=lambda outcome: "Written: the alert is answered.",
        then=lambda outcome: reverse("alerts"),
        back_url=reverse("alerts"),
        button="Answer it",
    )
    return act_page(request, form, act)


urlpatterns = [
    path("alerts/", alerts, name="alerts"),
    path("alerts/<int:alert_id>/", answer, name="alerts-answer"),
]
