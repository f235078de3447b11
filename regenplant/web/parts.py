"""The page ``/parts/``: every part of the design system in every state, with invented figures.

It is the reference for who builds a page, and what the browser tests look at. Nothing on it is read from the
records and nothing can be written by it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import django_tables2 as tables
from django import forms
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.drawing.rinse import (
    Across,
    Counts,
    Expected,
    ExpectedEnd,
    ForecastPoint,
    RinseDown,
    RinseReading,
)
from regenplant.drawing.scene import Scene
from regenplant.resins.models import ResinLot
from regenplant.resins.selectors import Ancestry, Relative
from regenplant.web.active_units import active
from regenplant.web.drawing.ancestry import ancestry_scene
from regenplant.web.drawing.dots import BatchDose, dots_on_plan
from regenplant.web.drawing.lanes import Lane, LaneBar, vessel_lanes
from regenplant.web.drawing.marks import MARKS
from regenplant.web.drawing.step_ruler import RulerStep
from regenplant.web.fields import QuantityField
from regenplant.web.templatetags.parts import PadStop

OHM_M = 1e4
"""One MΩ·cm in SI."""


@login_not_required
@require_safe
def parts(request: HttpRequest) -> HttpResponse:
    """Every part in every state. Public in the demonstration, else for people who are signed in."""
    if not settings.DEMO and not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    return render(request, "parts.html", sample())


def sample() -> dict[str, Any]:
    """What the page shows; a table at one page size, so that its pager is seen."""
    morning = timezone.localtime(timezone.now()).replace(hour=6, minute=0, second=0, microsecond=0)
    return {
        "marks": sorted(MARKS),
        "volume": resin_volume(),
        "acid": acid_volume(),
        "ruler": ruler(),
        "held_ruler": held_ruler(),
        "cautions": cautions(),
        "slim": cautions()[0],
        "form": sample_form(),
        "signing": SigningForm(),
        "refused_form": refused_form(),
        "steps": steps(),
        "rinse": rinse_down(morning.replace(hour=13, minute=27)),
        "rinse_start": RinseDown("Rinse-down of B-10417", "conductivity", (), 1e-4, False, 900),
        "softener": softener_rinse(),
        "logged": logged_rinse(morning.replace(hour=13, minute=27)),
        "stepped": stepped_rinse(),
        "pad_stops": [
            PadStop("id_caustic", "Caustic temperature", ("°C", "°F"), "°C"),
            PadStop("id_sodium", "Sodium", ("mg/L", "µg/L"), "mg/L"),
        ],
        "doses": dots_on_plan(
            doses(), title="Hydrochloric acid as 100 % per litre of resin", system=active()
        ),
        "vessels": vessel_lanes(
            vessels(morning),
            start=morning,
            end=morning + timedelta(hours=16),
            now=morning + timedelta(hours=8, minutes=5),
        ),
        "lot": lot(),
        "table": paged(UseTable(USE_ROWS)),
        "empty_table": EmptyTable([]),
        "chips": CHIPS,
        "facts": FACTS,
    }


# --- numbers --------------------------------------------------------------------------------------------------------
def resin_volume() -> Estimate:
    return Estimate(
        "V_r", "resin volume", 1.416, "m^3", "resin_volume", "Σ V_i", (), "14 tanks counted", "mass_balance"
    )


def acid_volume() -> Estimate:
    """Dose times resin volume over strength times density: 120 × 1 416 / (0.050 × 1 023) = 3 322 L."""
    return Estimate(
        symbol="V",
        name="diluted acid",
        value=120 * 1.416 / (0.050 * 1023),
        unit="m^3",
        kind="liquid_volume",
        formula="q · V_r / (w · ρ)",
        inputs=(
            Input("q", "dose of recipe H-14 version 6, as 100 % HCl", 120.0, "kg/m^3", "dose"),
            Input("V_r", "resin volume, 14 tanks, settled, Na form", 1.416, "m^3", "resin_volume"),
            Input("w", "planned strength", 0.050, "dimensionless", "strength"),
            Input("ρ", "density of 5.0 % HCl at 20 °C", 1023.0, "kg/m^3", "density"),
        ),
        method="mass balance of the dose",
        source="mass_balance",
        valid="4 to 10 % and 10 to 30 °C",
        warnings=("The strength of lot A-118 was checked 6 days ago; it holds for 7.",),
        uncertainty_frac=0.01,
    )


# --- steps ----------------------------------------------------------------------------------------------------------
def ruler() -> list[RulerStep]:
    minutes = (77, 15, 12, 50, 30, 35, 15)
    names = ("Load", "Backwash", "Settle", "Acid injection", "Displacement", "Fast rinse", "Sample and QC")
    states = ("done", "done", "done", "running", "waiting", "waiting", "waiting")
    return [
        RulerStep(name, 60 * planned, state, 0.64 if state == "running" else 0.0)
        for name, planned, state in zip(names, minutes, states, strict=True)
    ]


def held_ruler() -> list[RulerStep]:
    """Held after backwash: the second of the same steps."""
    return [
        RulerStep(
            step.name, step.planned_s, "held" if number == 1 else "done" if number == 0 else "waiting", 1.0
        )
        for number, step in enumerate(ruler())
    ]


@dataclass(frozen=True, slots=True)
class StepRow:
    name: str
    state: str
    note: str
    time: str
    is_hand: bool = False
    is_here: bool = False
    url: str = ""


def steps() -> list[StepRow]:
    return [
        StepRow("Load", "done", "11:48 to 13:05 · MT", "1:17", is_hand=True),
        StepRow("Backwash", "done", "13:05 to 13:20 · MT", "0:15", is_hand=True),
        StepRow("Acid injection", "running", "plan 0:50", "0:18 left", is_here=True, url="#step-4-running"),
        StepRow("Displacement", "waiting", "safe hold point after it", "0:30"),
        StepRow("Fast rinse", "skipped", "by D. Osk: rinsed in step 5", "0:35", is_hand=True),
    ]


# --- fields ---------------------------------------------------------------------------------------------------------
class SampleForm(forms.Form):
    volume = QuantityField("resin_volume", label="Resin volume", low=0.925, high=1.416, last="1 402 L")
    caustic = QuantityField("temperature", label="Caustic temperature", low=308.15, high=322.15, last="46 °C")
    sodium = QuantityField("concentration", label="Sodium", high=0.001, required=False)
    resin = forms.ChoiceField(label="Vessel", choices=[("C1", "C1, free"), ("C2", "C2, free at 14:30")])
    oxidizer = forms.ChoiceField(
        label="Oxidizer strip",
        choices=[("none", "none"), ("coloured", "coloured: stop")],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label="What the customer said", widget=forms.Textarea(attrs={"rows": 3}), required=False
    )
    gear = forms.BooleanField(label="Goggles, shield, gauntlets and apron are on")


class SigningForm(forms.Form):
    username = forms.CharField(
        label="User name of J. Fenn", widget=forms.TextInput(attrs={"autocomplete": "username"})
    )
    password = forms.CharField(
        label="Password of J. Fenn", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"})
    )


def sample_form() -> SampleForm:
    """A form as first shown, with two numbers already written."""
    return SampleForm(initial={"volume": "49.8 ft3", "oxidizer": "none"}, auto_id="ok_%s")


def refused_form() -> SampleForm:
    """The same form as it comes back: one number outside its limits, one not understood, one choice missing."""
    form = SampleForm({"volume": "1,416 L", "caustic": "46 F", "sodium": "", "resin": "C1"}, auto_id="bad_%s")
    form.full_clean()
    form.add_error(None, "Tank T-20417 is class C; this batch is class D. Classes are never mixed.")
    return form


# --- safety panels --------------------------------------------------------------------------------------------------
def cautions() -> list[Caution]:
    gear = ("goggles", "face shield", "gauntlets", "apron")
    return [
        Caution("acid", SignalWord.DANGER, "Hydrochloric acid burns skin and eyes; its vapour harms lungs.", ("Splashed? Shower at once, 15 min.",), gear, ("GHS05", "GHS07")),
        Caution("caustic", SignalWord.DANGER, "Sodium hydroxide 50 % burns skin and blinds.", ("Splashed? Shower at once, 15 min.",), gear, ("GHS05",)),
        Caution("bleach", SignalWord.WARNING, "Oxidizer: acid on it sets chlorine free.", ("No acid step until the rinse end point is written down.",), ("goggles",), ("GHS03", "GHS05", "GHS09")),
        Caution("beads", SignalWord.CAUTION, "Beads on the floor roll underfoot.", ("Close the aisle until it is swept.",), ()),
        Caution("cold", SignalWord.NOTICE, "Water at 8 °C lifts the bed higher than in summer.", ("Backwash at 13 m/h, not at 17.",), ()),
    ]  # fmt: skip


# --- drawings -------------------------------------------------------------------------------------------------------
def rinse_down(started_at: datetime) -> RinseDown:
    """A mixed bed on its way to 10 MΩ·cm: conductivity falls to a floor, readings every four minutes."""
    return RinseDown(
        title="Rinse-down of B-10409",
        kind="resistivity",
        readings=tuple(RinseReading(60.0 * m, OHM_M / _conductivity(m)) for m in (3, 7, 11, 15, 19, 23, 27, 31, 35, 38)),
        limit=10 * OHM_M,
        hold_s=900.0,
        started_at=started_at,
        now_s=38 * 60.0,
        forecast=tuple(
            ForecastPoint(60.0 * m, OHM_M / _conductivity(m), OHM_M / _conductivity(m, 1 + spread), OHM_M / _conductivity(m, 1 - spread))
            for m in range(38, 61)
            for spread in ((m - 38) / 100,)
        ),
        earlier=tuple(
            tuple((60.0 * m, OHM_M / _conductivity(m * pace)) for m in range(1, 48)) for pace in (1.12, 1.05, 0.96, 0.92, 0.88)
        ),
    )  # fmt: skip


def _conductivity(minutes: float, factor: float = 1.0) -> float:
    """µS/cm after so many minutes: a single exponential to a floor (invented figures)."""
    return 0.078 * factor + 55.0 * math.exp(-minutes / 5.15)


def softener_rinse() -> RinseDown:
    """A softener's rinse: conductivity falls under an "at most" limit and is being held; no clock."""
    readings = tuple(
        RinseReading(60.0 * m, 0.1 * (0.065 + 3.2 * math.exp(-m / 4.2)), is_by_hand=m != 12)
        for m in (2, 5, 8, 12, 16, 20)
    )
    return RinseDown(
        "Rinse-down of B-10413", "conductivity", readings, 0.015, False, 600.0, 16.5 * 60, now_s=21 * 60.0
    )


def logged_rinse(started_at: datetime) -> RinseDown:
    """An anion bed read by a meter every ten seconds and now and then by hand; one reading points to its cell, one only informs."""
    flow_bv_per_s = 8.0 / 3600

    def read(
        minutes: float, *, is_by_hand: bool = False, counts: Counts = Counts.YES, factor: float = 1.0
    ) -> RinseReading:
        seconds = 60.0 * minutes
        value = factor * 1e-4 * (2.2 + 900.0 * math.exp(-minutes / 7.4))
        return RinseReading(seconds, value, is_by_hand, seconds * flow_bv_per_s, counts)

    by_meter = [read(n / 6) for n in range(6, 204)]
    by_hand = [read(m, is_by_hand=True, factor=1.02) for m in (8.02, 16.02, 24.02, 32.02)]
    odd = [
        read(20.55, is_by_hand=True, counts=Counts.CHECK, factor=0.02),
        read(28.05, is_by_hand=True, counts=Counts.INFORMS, factor=1.25),
    ]
    early, middle, late = (Expected(60.0 * m, 60.0 * m * flow_bv_per_s) for m in (41.0, 44.5, 50.0))
    return RinseDown(
        "Rinse-down of B-10421", "conductivity", tuple(sorted((*by_meter, *by_hand, *odd), key=lambda r: r.elapsed_s)), 0.001, False, 900.0,
        started_at=started_at, now_s=34.5 * 60, expected=ExpectedEnd(early, middle, late), across=Across.BED_VOLUMES, bv_per_s=flow_bv_per_s,
        earlier=tuple(tuple((60.0 * m * flow_bv_per_s, 1e-4 * (2.0 + 900.0 * math.exp(-m / pace))) for m in range(1, 46)) for pace in (7.0, 7.9, 6.6)),
    )  # fmt: skip


def stepped_rinse() -> RinseDown:
    """Purified water judged by a table for uncompensated readings: the limit rises with the temperature; it is being held."""
    readings = tuple(
        RinseReading(
            60.0 * m,
            1e-4 * (0.9 + 60.0 * math.exp(-m / 4.0)),
            limit=1e-4 * (1.1 if m < 14 else 1.3 if m < 30 else 1.4),
        )
        for m in (3, 6, 9, 12, 15, 18, 21, 24, 27, 30, 33)
    )
    return RinseDown("Rinse-down of B-10430", "conductivity", readings, None, False, 900.0, 24 * 60.0, now_s=34 * 60.0, basis="as read")  # fmt: skip


def doses() -> list[BatchDose]:
    used = (119.4, 121.0, 118.2, 120.6, 131.0, 121.4, 119.9, 117.0, 120.2, 112.1, 120.8, 119.5)
    return [BatchDose(f"B-{10397 + n}", 120.0, value) for n, value in enumerate(used)]


def vessels(morning: datetime) -> list[Lane]:
    def bar(
        start: float, end: float, state: str, name: str = "", note: str = "", pinned: bool = False
    ) -> LaneBar:
        return LaneBar(
            morning + timedelta(hours=start), morning + timedelta(hours=end), state, name, note, pinned
        )

    return [
        Lane("C1", (bar(0, 3.4, "done", "B-10404", "SAC-H · D"), bar(3.4, 3.9, "clean"), bar(5.8, 9.7, "running", "B-10412", "SAC-H · D"), bar(10.2, 14.2, "planned", "B-10417", "SAC-H · D"))),
        Lane("A1", (bar(-1, 4.8, "done", "B-10403", "SBA1 · C"), bar(6.6, 9.5, "held", "B-10411", "SBA1 · D, held"), bar(9.5, 13.4, "planned", "B-10411", "if warm by 15:30"))),
        Lane("A2", (bar(1.3, 10, "locked", "lock 118", "drain valve"), bar(10, 14.9, "planned", "B-10416", "SBA1 · D", True))),
    ]  # fmt: skip


def lot() -> Scene:
    """A resin lot mixed of two lots and some new resin, gone to two others."""

    def relative(code: str, share_frac: float) -> Relative:
        return Relative(ResinLot(code=code), 1, share_frac, share_frac)

    return ancestry_scene(
        Ancestry(
            ResinLot(code="SBA1-D-03"),
            came_from=(relative("SBA1-D-01", 0.58), relative("SBA1-D-02", 0.39), relative("N-288", 0.03)),
            went_to=(relative("L-10391", 0.7), relative("L-10411", 0.3)),
            unrecorded_frac=0.0,
        )
    )


# --- tables ---------------------------------------------------------------------------------------------------------
class UseTable(tables.Table):
    """Acid per batch, as a listing of the house looks."""

    batch = tables.Column(
        verbose_name="Batch", linkify=lambda record: f"#{record['batch']}", attrs={"td": {"class": "nb"}}
    )
    resin = tables.Column(verbose_name="Resin", attrs={"th": {"class": "wo"}, "td": {"class": "wo"}})
    plan = tables.Column(verbose_name="Plan, kg", attrs={"th": {"class": "num"}, "td": {"class": "num"}})
    used = tables.Column(verbose_name="Used, kg", attrs={"th": {"class": "num"}, "td": {"class": "num hand"}})
    gap = tables.Column(verbose_name="Used − plan", attrs={"th": {"class": "num"}, "td": {"class": "num"}})

    caption = "Hydrochloric acid as 100 %, per batch, this week; spread −0.6 to +9.2 %."
    noun, nouns = "batch", "batches"
    exports = ("csv", "xlsx")

    class Meta:
        empty_text = "No batch took acid in this week. The next one starts at 15:36."
        order_by = "batch"
        row_attrs = {"class": lambda record: "off" if record["off"] else ""}


class EmptyTable(UseTable):
    caption = "Sulfuric acid as 100 %, per batch, this week."

    class Meta(UseTable.Meta):
        empty_text = "No batch took sulfuric acid in this week. None is planned."


USE_ROWS = [
    {"batch": "B-10404", "resin": "SAC-H", "plan": "168.2", "used": "169.0", "gap": "+0.5 %", "off": False},
    {"batch": "B-10405", "resin": "SAC-H", "plan": "101.5", "used": "100.9", "gap": "−0.6 %", "off": False},
    {"batch": "B-10407", "resin": "SAC-H", "plan": "169.2", "used": "184.7", "gap": "+9.2 %", "off": True},
    {"batch": "B-10408", "resin": "SAC-H", "plan": "99.8", "used": "101.2", "gap": "+1.4 %", "off": False},
    {"batch": "B-10412", "resin": "SAC-H", "plan": "169.9", "used": "168.8", "gap": "−0.6 %", "off": False},
    {"batch": "B-10415", "resin": "SAC-H", "plan": "99.8", "used": "100.4", "gap": "+0.6 %", "off": False},
]


def paged(table: UseTable) -> UseTable:
    table.paginate(page=1, per_page=4)
    return table


# --- the rest -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Chip:
    label: str
    url: str
    is_current: bool = False
    count: int | None = None
    mark: str = ""


CHIPS = (
    Chip("All", "?", is_current=True, count=41),
    Chip("Running", "?state=running", count=4, mark="running"),
    Chip("Held", "?state=held", count=1, mark="held"),
    Chip("Awaiting QC", "?state=awaiting_qc", count=2, mark="awaiting_qc"),
    Chip("Released", "?state=released", count=34, mark="released"),
)

FACTS = (
    ("Sodium", "0.6 mg/L, at most 1.0"),
    ("Hardness", "not found, at most 1 mg/L as CaCO₃"),
    ("Held", "15 of 15 min, 6.2 BV of at least 6"),
    ("Readings by", "M. Tarn, cell C-1, calibrated to 2026-06-01"),
    ("Digest", "88f1 d03c"),
)
