"""The parts of the design system: marks, tags, fields, the frame, and the page that shows them all."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django import forms
from django.conf import settings
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.template import Context, Template, engines
from django.urls import reverse

from regenplant import units
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.lifecycle import BatchState, StepState, VisitState
from regenplant.core.process.plan import Caution, Severity, SignalWord
from regenplant.web import active_units
from regenplant.web.drawing.limit_bar import Standing
from regenplant.web.drawing.marks import MARKS, mark_for
from regenplant.web.fields import QuantityField
from regenplant.web.templatetags import parts as tags
from regenplant.web.templatetags import quantities
from regenplant.web.templatetags._working import notation, with_figures, working_of

TEMPLATES = Path(settings.BASE_DIR) / "templates"
SPRITE = (TEMPLATES / "components" / "_symbols.html").read_text(encoding="utf-8")
EVIL = '<script>alert("x")</script>'
NO_BREAK, THIN = units.NO_BREAK_SPACE, units.THIN_SPACE


def shown(source: str, **values: object) -> str:
    """A template with our tags, in metric units unless ``unit_system`` says otherwise."""
    values.setdefault("unit_system", "metric")
    return Template("{% load parts quantities %}" + source).render(Context(values))


# --- marks ----------------------------------------------------------------------------------------------------------
def test_every_mark_has_its_symbol_in_the_sprite():
    ids = set(re.findall(r'<symbol id="m-([\w]+)"', SPRITE))
    assert {mark.symbol for mark in MARKS.values()} <= ids
    assert {code.lower() for code in tags.PICTOGRAMS} <= ids
    assert {"scan", "alert", "alertw"} <= ids


def test_ids_in_the_sprite_are_unique_and_never_those_of_a_page():
    ids = re.findall(r' id="([^"]+)"', SPRITE)
    assert len(ids) == len(set(ids))
    assert all(name.startswith(("m-", "h-")) for name in ids)


@pytest.mark.parametrize("state", [*BatchState, *VisitState, *StepState, *Severity], ids=str)
def test_every_state_of_the_lifecycles_has_a_mark(state):
    assert mark_for(state).word


def test_an_unknown_state_is_named_as_a_defect():
    with pytest.raises(KeyError, match="melted"):
        mark_for("melted")


def test_no_two_states_of_one_lifecycle_look_the_same():
    for lifecycle in (BatchState, VisitState, StepState):
        looks = [(mark_for(state).symbol, mark_for(state).word) for state in lifecycle]
        assert len(looks) == len(set(looks))


def test_a_mark_is_shape_and_word_and_its_word_is_escaped():
    html = shown('{% mark "running" word=word size="big" %}', word=EVIL)
    assert '<use href="#m-running"/>' in html
    assert 'class="mark big"' in html
    assert "<script>" not in html


# --- numbers --------------------------------------------------------------------------------------------------------
def test_filters_show_the_readers_units():
    with active_units.shown_in("us"):
        assert quantities.in_unit(1.416, "resin_volume") == f"50.01{NO_BREAK}ft³"
        assert quantities.unit_of("flow") == "US gpm"
    assert quantities.in_unit(1.416, "resin_volume") == f"1{THIN}416{NO_BREAK}L"
    assert quantities.both_units(0.00111, "flow") == f"66.6{NO_BREAK}L/min · 17.6{NO_BREAK}US gpm"


def test_an_unknown_unit_system_is_a_defect_and_leaves_the_old_one():
    with pytest.raises(ValueError, match="imperial"), active_units.shown_in("imperial"):
        pass
    assert active_units.active() == "metric"


@pytest.mark.parametrize("name", ["in_unit", "number_in", "both_units"])
def test_what_is_not_written_is_a_dash(name):
    assert getattr(quantities, name)(None, "flow") == "–"
    assert getattr(quantities, name)("", "flow") == "–"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (1080, "0:18"),
        (4620, "1:17"),
        (0, "0:00"),
        (-540, "−0:09"),
        (-20, "0:00"),
        (29.9, "0:00"),
        (30, "0:01"),
    ],
)
def test_durations_are_hours_and_minutes(seconds, text):
    assert quantities.hours(seconds) == text


def test_differences_carry_their_sign_and_nought_carries_none():
    assert [quantities.signed(v) for v in (3.2, -0.6, 0.0, 0.01, -0.01)] == [
        "+3.2",
        "−0.6",
        "0.0",
        "0.0",
        "0.0",
    ]
    assert quantities.signed_percent(0.032) == f"+3.2{NO_BREAK}%"


def test_a_number_that_is_no_number_is_a_defect_not_a_dash():
    with pytest.raises(ValueError, match="could not convert"):
        quantities.in_unit("much", "flow")


def test_a_quantity_shows_value_unit_twin_and_basis():
    html = shown('{% quantity 1.416 "resin_volume" basis="settled, Na form" %}')
    assert f"<b>1{THIN}416</b>" in html
    assert f"50.01{NO_BREAK}ft³" in html
    assert "settled, Na form" in html
    assert "<b>50.01</b>" in shown('{% quantity 1.416 "resin_volume" %}', unit_system="us")


def test_the_limit_bar_component_colours_only_what_is_abnormal():
    bad = shown('{% limit_bar caption="Flow" value=0.0005 kind="flow" low=0.001 high=0.0012 %}')
    good = shown('{% limit_bar caption="Flow" value=0.0011 kind="flow" low=0.001 high=0.0012 %}')
    assert 'class="verdict low"' in bad
    assert 'class="verdict"' in good
    assert 'role="img"' in good


def test_limits_in_words_in_a_template():
    assert shown('{% limit_text None 0.001 "concentration" %}') == f"at most 1{NO_BREAK}mg/L"


def test_every_standing_has_a_word_in_the_table_or_is_plain():
    named = {standing.value for standing in Standing} & MARKS.keys()
    assert named == {"within", "near", "not_yet", "met"}


# --- the working ----------------------------------------------------------------------------------------------------
DOSE = Estimate(
    symbol="V",
    name="diluted acid",
    value=3.3220,
    unit="m^3",
    kind="liquid_volume",
    formula="q · V_r / (w · ρ)",
    inputs=(
        Input("q", "dose", 120.0, "kg/m^3", "dose"),
        Input("V_r", "resin volume", 1.416, "m^3", "resin_volume"),
        Input("w", "strength", 0.05, "dimensionless", "strength"),
        Input("ρ", "density", 1023.0, "kg/m^3"),
    ),
    method="mass balance",
    source="mass_balance",
    warnings=("Check lot A-118.",),
)


def test_the_formula_is_shown_with_its_numbers_put_in():
    assert notation(DOSE.formula) == "q · V<sub>r</sub> / (w · ρ)"
    assert with_figures(DOSE.formula, DOSE.inputs, "metric") == (
        f"120{NO_BREAK}g/L × 1{THIN}416{NO_BREAK}L / (5{NO_BREAK}% × 1{THIN}023{NO_BREAK}kg/m³)"
    )


def test_a_symbol_inside_another_is_not_replaced():
    inputs = (Input("V", "all", 2.0, "dimensionless"), Input("V_r", "resin", 3.0, "dimensionless"))
    assert with_figures("V · V_r + Vx", inputs, "metric") == "2 × 3 + Vx"


def test_negative_and_raised_numbers_stand_in_brackets():
    inputs = (Input("x", "x", -2.0, "dimensionless"), Input("d", "d", 3.0, "m"))
    assert with_figures("x + d^2", inputs, "metric") == f"(−2) + (3{NO_BREAK}m)<sup>2</sup>"


def test_exponents_are_raised_and_everything_is_escaped():
    assert notation("κ_∞ + e^(−t/τ)") == "κ<sub>∞</sub> + e<sup>−t/τ</sup>"
    assert notation("a < b & c") == "a &lt; b &amp; c"


def test_the_working_names_method_source_and_warnings():
    html = shown("{% working estimate is_open=True %}", estimate=DOSE)
    assert "<details" in html and " open" in html
    assert "Mass balance" in html
    assert "Check lot A-118." in html
    assert f"3{THIN}322{NO_BREAK}L" in html


def test_a_source_that_no_table_names_is_a_defect():
    with pytest.raises(KeyError):
        working_of(Estimate("V", "v", 1.0, "m^3", "", "x", (), "m", "no_such_source"), "metric")


# --- fields ---------------------------------------------------------------------------------------------------------
class ReadingForm(forms.Form):
    flow = QuantityField(
        "flow", label="Flow at the skid", low=0.001, high=0.0012, last="65.8 L/min at 13:50", required=False
    )
    vessel = forms.ChoiceField(label="Vessel", choices=[("C1", "C1")])
    gear = forms.BooleanField(label="Gear is on")
    due = forms.DateField(label="Due")
    strip = forms.ChoiceField(label="Strip", choices=[("none", "none")], widget=forms.RadioSelect)


def test_a_number_field_says_last_and_limit_and_asks_what_was_understood():
    html = shown("{% field form.flow %}", form=ReadingForm(initial={"flow": "17.6 gpm"}))
    assert f"Last 65.8 L/min at 13:50. Limit 60 to 72{NO_BREAK}L/min." in html
    assert f'hx-get="{reverse("understand")}"' in html
    assert "hx-vals='" not in html  # escaped, not single-quoted
    assert "{&quot;name&quot;: &quot;flow&quot;, &quot;kind&quot;: &quot;flow&quot;}" in html
    assert f"66.6{NO_BREAK}L/min · 17.6{NO_BREAK}US gpm" in html
    assert "may stay empty" in html


def test_a_filter_need_not_say_that_it_may_stay_empty():
    assert "may stay empty" not in shown("{% field form.flow says_optional=False %}", form=ReadingForm())


def test_a_choice_of_nothing_that_has_a_word_is_not_called_empty():
    class Filter(forms.Form):
        family = forms.ChoiceField(choices=[("", "all"), ("sac_h", "SAC-H")], required=False)
        lot = forms.ChoiceField(choices=[("", "---------"), ("1", "L-1")], required=False)

    assert "may stay empty" not in shown("{% field form.family %}", form=Filter())
    assert "may stay empty" in shown("{% field form.lot %}", form=Filter())


def test_a_state_nobody_is_in_has_no_colour_in_the_filter():
    chips = [
        {"label": "Held", "url": "?", "count": 0, "mark": "held"},
        {"label": "Held", "url": "?", "count": 1, "mark": "held"},
    ]
    assert shown("{% filter_chips chips %}", chips=chips).count('class="none"') == 1


def test_what_describes_a_field_is_on_the_page():
    form = ReadingForm({"flow": "3 furlongs"})
    html = shown(
        "{% field form.flow %}{% field form.vessel %}{% field form.strip %}{% field form.gear %}", form=form
    )
    named = {name for value in re.findall(r'aria-describedby="([^"]+)"', html) for name in value.split()}
    assert named
    assert named <= set(re.findall(r' id="([^"]+)"', html))
    assert 'aria-invalid="true"' in html


def test_what_was_typed_comes_back_with_its_refusal_and_is_escaped():
    html = shown("{% field form.flow %}", form=ReadingForm({"flow": EVIL}))
    assert 'class="field bad"' in html
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


def test_refusals_speak_in_the_voice_of_the_house():
    form = ReadingForm({"vessel": "Z9", "due": "soon"})
    html = shown("{% for bound in form %}{% field bound %}{% endfor %}", form=form)
    assert "“Z9” is not among the choices." in html
    assert "Write the day as 2026-03-11." in html
    assert "Choose one." in html
    assert "This is not confirmed yet." in html
    assert not re.search(r"required\.|valid|please", html.replace("aria-invalid", ""), re.I)


def test_a_refusal_of_our_own_stays_as_it_is():
    form = ReadingForm({})
    form.add_error("due", "7719 is due before this batch can end.")
    assert "7719 is due before this batch can end." in shown("{% field form.due %}", form=form)


def test_what_is_wrong_with_the_whole_form_is_an_alert():
    form = ReadingForm({})
    form.add_error(None, "Classes are never mixed.")
    assert 'role="alert"' in shown("{% form_errors form %}", form=form)
    assert shown("{% form_errors form %}", form=ReadingForm()).strip() == ""


# --- blocks ---------------------------------------------------------------------------------------------------------
def test_what_stands_inside_a_block_stays_markup_and_variables_stay_escaped():
    html = shown("{% note tone='amber' symbol='held' %}<b>{{ evil }}</b>{% endnote %}", evil=EVIL)
    assert "<b>&lt;script&gt;" in html
    card = shown("{% step_card name=evil state='held' number=2 %}<p>inside</p>{% endstep_card %}", evil=EVIL)
    assert "<p>inside</p>" in card
    assert "<script>" not in card
    assert 'class="step held"' in card


def test_a_section_is_named_by_its_heading():
    html = shown("{% section 'Going on' '4 of 6 vessels' %}x{% endsection %}")
    assert 'aria-labelledby="s-going-on"' in html
    assert '<h2 id="s-going-on">Going on</h2>' in html


def test_numbers_of_things_are_not_broken_over_lines():
    assert tags.codes("Batch B-10412 due 2026-03-12") == (
        'Batch <span class="nb">B-10412</span> due <span class="nb">2026-03-12</span>'
    )
    assert tags.codes("well-kept <b>") == "well-kept &lt;b&gt;"


@pytest.mark.parametrize(
    ("signal", "css"),
    [("danger", "danger"), ("warning", "warning"), ("caution", "care"), ("notice", "notice")],
)
def test_a_safety_panel_has_word_colour_source_and_authority(signal, css):
    caution = Caution(
        "x", SignalWord(signal), "Burns skin.", ("Shower, 15 min.",), ("goggles",), ("GHS05", "GHS08")
    )
    html = shown("{% caution c source='Data sheet of 2025-11' %}", c=caution)
    assert f'class="caution {css}"' in html
    assert signal.upper() in html
    assert 'aria-label="GHS05 corrosion"' in html
    assert "GHS08 on the label" in html
    assert (
        "Data sheet of 2025-11. The supplier’s data sheet in force, local codes and licensed practice decide."
        in html
    )


class PasswordForm(forms.Form):
    password = forms.CharField(label="Password", widget=forms.PasswordInput)
    version = forms.IntegerField(widget=forms.HiddenInput, initial=3)


SIGNATURE = (
    "{% signature title='Release B-1' sentence='You sign.' person='J. Fenn' meaning='released' form=form url='/sign/'"
    " button='Sign and release' refused=refused %}<p>facts</p>{% endsignature %}"
)


def test_a_signature_shows_facts_meaning_and_its_form():
    html = shown(SIGNATURE, form=PasswordForm(), refused="", csrf_token="token-of-the-session")
    assert "<p>facts</p>" in html
    assert "meaning: released" in html
    assert 'type="password"' in html
    assert 'name="version"' in html
    assert "token-of-the-session" in html


def test_a_refused_signature_has_nothing_to_press():
    html = shown(SIGNATURE, form=PasswordForm(), refused="You took these readings.")
    assert "You took these readings." in html
    assert "<form" not in html and "<button" not in html
    assert 'aria-disabled="true"' in html


# --- the frame ------------------------------------------------------------------------------------------------------
class SomebodySignedIn:
    is_authenticated = True
    username, theme, unit_system = "fenn", "", ""
    role_names = ("QC technician",)

    def get_full_name(self) -> str:
        return "J. Fenn"


class Plant:
    name, hall_name = "Alder Quay", EVIL


def frame(**values: object) -> str:
    now = datetime(2026, 3, 11, 14, 5, tzinfo=UTC)
    tab = {"label": "Floor", "url": "/floor/", "note": "1 held", "is_call": True, "is_current": True}
    base = {
        "plant": Plant,
        "now": now,
        "index_tabs": [tab],
        "user": SomebodySignedIn(),
        "csrf_token": "t",
        "unit_system": "metric",
    }
    return engines["django"].from_string("{% extends 'base.html' %}").template.render(Context(base | values))


def test_the_scan_box_is_first_after_the_skip_links():
    html = frame()
    stops = re.findall(r'<(a|input|button|summary)\b(?![^>]*type="hidden")[^>]*', html)
    opened = [m.group(0) for m in re.finditer(r"<(?:a|input|button|summary)\b[^>]*", html)]
    assert stops[:3] == ["a", "a", "input"]
    assert 'href="#main"' in opened[0] and 'href="#index"' in opened[1] and 'id="scan"' in opened[2]
    assert f'action="{reverse("scan")}"' in html and 'method="get"' in html


def test_the_frame_has_house_name_index_clock_and_the_emergency_link():
    html = frame(chain_number=218404, chain_head="7c1e 40b9")
    assert "Alder Quay" in html and "<script>alert" not in html
    assert 'aria-current="page"' in html and '<b class="call">1 held</b>' in html
    assert f'href="{reverse("emergency")}"' in html
    assert f"7c1e 40b9 · event 218{THIN}404" in html


def test_the_emergency_link_is_there_for_somebody_who_is_not_signed_in():
    html = frame(user=None, index_tabs=[])
    assert f'href="{reverse("emergency")}"' in html
    assert f'href="{reverse("sign-in")}"' in html
    assert 'id="scan"' not in html and 'id="index"' not in html


def test_a_persons_theme_is_on_the_page_before_anything_is_drawn():
    assert '<html lang="en" data-theme="dark">' in frame(theme="dark")
    assert '<html lang="en">' in frame()


def test_messages_are_receipts_and_refusals_are_notes():
    html = frame(messages=[Message(constants.SUCCESS, "Written: flow."), Message(constants.ERROR, EVIL)])
    assert 'class="receipt"' in html and "Written: flow." in html
    assert 'class="note red"' in html and "&lt;script&gt;" in html
    assert 'role="status"' in html


def test_the_policy_holds_no_inline_style_script_or_handler():
    html = frame()
    assert not re.search(r"\sstyle=|\son\w+=|javascript:", html)
    assert all(" src=" in tag for tag in re.findall(r"<script[^>]*>", html))
    assert '"allowEval":false' in html and '"includeIndicatorStyles":false' in html


# --- the templates and the page -------------------------------------------------------------------------------------
def test_each_component_opens_with_what_it_accepts():
    for path in sorted((TEMPLATES / "components").glob("*.html")):
        text = path.read_text(encoding="utf-8")
        assert text.startswith("{% comment %}"), path.name
        assert "ccepts" in text.split("{% endcomment %}")[0], path.name


def test_no_template_of_the_parts_has_a_style_attribute():
    for path in [
        TEMPLATES / "base.html",
        TEMPLATES / "parts.html",
        *(TEMPLATES / "components").glob("*.html"),
    ]:
        assert not re.search(r"\sstyle=", path.read_text(encoding="utf-8")), path.name


def test_every_tag_is_shown_on_the_parts_page_or_in_the_frame():
    page = (TEMPLATES / "parts.html").read_text(encoding="utf-8") + (TEMPLATES / "base.html").read_text(
        encoding="utf-8"
    )
    used_inside = {"drawing", "limit_text", "cells"}
    missing = {name for name in tags.register.tags if not re.search(rf"{{% {name}\b", page)}
    assert missing == used_inside


@pytest.mark.django_db
def test_the_parts_page_is_public_in_the_demonstration_only(client, settings):
    settings.DEMO = True
    assert client.get(reverse("parts")).status_code == 200
    settings.DEMO = False
    answer = client.get(reverse("parts"))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("sign-in"))


@pytest.mark.django_db
def test_the_parts_page_shows_every_state_without_inline_style(client, settings):
    settings.DEMO = True
    answer = client.get(reverse("parts"))
    html = answer.content.decode()
    for mark in MARKS.values():
        assert f"<span>{mark.word}</span>" in html
    assert not re.search(r"\sstyle=|<style|\son\w+=", html)
    assert "{%" not in html and "{{" not in html
    ids = re.findall(r' id="([^"]+)"', html)
    assert len(ids) == len(set(ids)), sorted({i for i in ids if ids.count(i) > 1})
    assert "style-src 'self'" in answer["Content-Security-Policy"]


@pytest.mark.django_db
def test_the_parts_page_follows_the_plants_unit_system(client, settings):
    from regenplant.plant.models import PlantProfile

    settings.DEMO = True
    PlantProfile.objects.create(pk=1, name="Test plant", unit_system="us")
    html = client.get(reverse("parts")).content.decode()
    assert "<b>50.01</b>" in html
    assert f"1{THIN}416{NO_BREAK}L" in html  # the twin


def test_a_moment_is_shown_in_plant_time():
    moment = datetime(2026, 3, 11, 13, 5, tzinfo=UTC)
    from django.utils import timezone

    with timezone.override("Europe/Berlin"):
        assert quantities.clock(moment) == "14:05"
        assert quantities.when(moment) == f"Wed{NO_BREAK}2026-03-11{NO_BREAK}14:05"
        assert quantities.day(moment + timedelta(hours=10)) == "2026-03-12"
