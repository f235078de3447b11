"""What passed its watch level in a period, and the level of one measure."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.process.watch_measures import Shown, Watched, level_said
from regenplant.plant.selectors import profile
from regenplant.safety.selectors import station_standings
from regenplant.use import services
from regenplant.use.selectors.watched import gaps_in, use_beyond, watched_in
from regenplant.use.watching import measure_levels, watch_now
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemical_use.forms import MeasureForm, UseForm
from regenplant.web.areas.chemical_use.views import period_chips
from regenplant.web.house_form import posted
from regenplant.web.presenters import watched as words
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def watch(request: HttpRequest, tab: str) -> HttpResponse:
    """Every measure of a period against its level, what lies beyond it by name."""
    form = UseForm(request.GET, today=timezone.localdate())
    form.is_valid()
    period = form.chosen()
    made = words.blocks(
        watched_in(period.first, period.last, timezone.now(), stations_now()),
        use_beyond(period.first, period.last),
        watch_now(),
        gaps_in(period.first, period.last),
        period,
        unit_system_of(request),
    )
    context = {
        "form": form,
        "chips": period_chips(request, period.name),
        "sentence": words.opening(made, period),
        "passed": [block for block in made if block.beyond],
        "blocks": made,
        "may_set": right(request, "chemical.watch"),
        "use_url": f"{reverse('chemical-use')}?first={period.first}&last={period.last}",
    }
    return render(request, "chemicals_use/watch.html", context, status=422 if form.errors else 200)


def stations_now() -> dict[str, bool]:
    """Showers and eyewashes in use, and whether each calls for somebody."""
    standings = station_standings(profile(), timezone.localdate())
    return {one.station.code: one.calls for one in standings}


@require_http_methods(["GET", "HEAD", "POST"])
def measure_level(request: HttpRequest, tab: str, measure: str) -> HttpResponse:
    """The level of one measure, with its reason."""
    if measure not in set(Watched):
        raise Http404(f"There is no measure {measure[:24]}.")
    watched = Watched(measure)
    row, of = measure_levels()[watched], watched.measure
    factor = 100.0 if of.shown is Shown.PERCENT else 1.0
    level = of.usual if row is None else row.level
    form = MeasureForm(
        posted(request),
        measure=of,
        initial={"level": round(level * factor, 6), "seen": row.pk if row else 0},
    )
    act = Act(
        title="Watch level",
        sentence=f"{of.name}. {of.how} No process limit: nothing is stopped by it.",
        permission="chemical.watch",
        service=services.record_measure_level,
        arguments=lambda: {
            "measure": watched.value,
            "level": form.cleaned_data["level"] / factor,
            "reason": form.text("reason"),
            "seen_id": form.cleaned_data.get("seen"),
        },
        said=lambda outcome: f"Written: marked {outcome.facts['shown']} from now on.",
        then=lambda outcome: reverse("use-watch"),
        back_url=reverse("use-watch"),
    )
    usual = f"{level_said(of, of.usual)}, {'common practice of the trade' if of.is_practice else 'a proposal of this program'}"
    facts = [("Usual", usual), ("In force", level_said(of, level))]
    if row is not None:
        facts.append(
            ("Recorded", f"{timezone.localtime(row.recorded_at):%Y-%m-%d %H:%M}, {row.recorded_by.full_name}: {row.reason}")
        )  # fmt: skip
    return act_page(request, form, act, facts=facts)
