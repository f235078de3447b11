"""Every form of the web, with every field given what nobody should type: refused with a sentence or taken, never a crash.

A new form is added to ``FORMS``; one that needs a whole batch to stand on is named in ``ELSEWHERE`` with the test that tries it.
"""

from __future__ import annotations

import ast
import importlib
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django import forms
from django.http import HttpRequest, QueryDict
from django.test import RequestFactory

from regenplant.core.bench.registry import quantities
from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import ResinFamily, StepKind
from regenplant.core.process.watch_measures import MEASURES, Watched
from regenplant.people.authority import Role
from regenplant.quality.models import ResinFigure
from regenplant.safety.models import WashStation
from regenplant.web.templatetags._fields import said
from tests import factories
from tests.house.tree import ROOT, modules_in

Make = Callable[[Any, QueryDict], forms.BaseForm]


def plain(form: Any, data: QueryDict) -> forms.BaseForm:
    return form(data)  # type: ignore[no-any-return]


def given(**arguments: Any) -> Make:
    return lambda form, data: form(data, **arguments)


def with_request(form: Any, data: QueryDict) -> forms.BaseForm:
    request: HttpRequest = RequestFactory().post("/sign-in/")
    return form(request, data)  # type: ignore[no-any-return]


def with_a_person(form: Any, data: QueryDict) -> forms.BaseForm:
    return form(data, person=factories.person(Role.OPERATOR))  # type: ignore[no-any-return]


ENTRY = EntrySpec("flow", "Flow", "flow", low=0.0005, high=0.002)
FORMS: dict[str, Make] = {
    "areas.day_plan.forms.NewPlanForm": plain,
    "areas.day_plan.forms.ConfirmForm": plain,
    "areas.day_plan.forms.CancelForm": plain,
    "areas.day_plan.forms.FiguresForm": plain,
    "areas.day_plan.forms.CopyForm": plain,
    "areas.day_plan.forms.CompareForm": given(plans=[("DP-101", "DP-101")]),
    "areas.day_plan.forms.PinForm": given(vessels=["V1"]),
    "areas.day_plan.forms.JoinForm": given(others=[("B0001", "B0001")]),
    "areas.day_plan.forms.TanksForm": given(tanks=[("T1", "T1")]),
    "areas.day_plan.forms.SeveralForm": given(tanks=[("T1", "T1")]),
    "areas.day_plan.forms.RushForm": given(tanks=[("T1", "T1")]),
    "areas.certificates.forms.IssueForm": given(links=[]),
    "areas.certificates.forms.WithdrawForm": plain,
    "areas.bench.forms.BenchForm": given(quantity=quantities()["stock_volume"]),
    "areas.batches.forms.StepForm": plain,
    "areas.batches.forms.EntryForm": given(spec=ENTRY, system="us"),
    "areas.batches.forms.ReasonForm": given(with_time=True),
    "areas.batches.forms.ReworkForm": given(recipes=[("1", "Recipe")]),
    "areas.batches.forms.ReworkTogetherForm": given(recipes=[("1", "Recipe")]),
    "areas.batches.forms.LeaveForm": plain,
    "areas.batches.checks.CheckForm": plain,
    "areas.batches.forms.DeviationForm": plain,
    "areas.batches.forms.ShellForm": plain,
    "areas.batches.forms.FillForm": plain,
    "areas.batches.forms.AsideForm": plain,
    "areas.rinse.forms.SetAsideForm": plain,
    "areas.batches.forms.FilterForm": plain,
    "areas.chemical_use.forms.UseForm": given(today=date(2026, 3, 2)),
    "areas.chemical_use.forms.PriceForm": plain,
    "areas.chemical_use.forms.WatchForm": plain,
    "areas.chemical_use.forms.MeasureForm": given(measure=MEASURES[Watched.LATE]),
    "areas.chemical_use.forms.ReportForm": plain,
    "areas.trends.forms.WindowForm": given(today=date(2026, 3, 2)),
    "areas.trends.forms.FailuresForm": given(today=date(2026, 3, 2)),
    "areas.trends.forms.LookForm": plain,
    "areas.ageing.forms.FigureForm": plain,
    "areas.ageing.forms.SampleForm": plain,
    "areas.ageing.forms.CorrectFigureForm": given(
        row=ResinFigure(property="salt_splitting", value_as_typed="0.9", method="titration")
    ),
    "areas.ageing.forms.LotLookForm": given(family=ResinFamily.SBA_TYPE_1),
    "areas.ageing.forms.CapacityForm": plain,
    "areas.chemicals.forms.ReceiveForm": with_a_person,
    "areas.chemicals.forms.StrengthForm": plain,
    "areas.chemicals.forms.ExpiryForm": plain,
    "areas.chemicals.forms.CountForm": given(replaces="C-10001"),
    "areas.chemicals.count_forms.LevelForm": given(replaces="C-10001"),
    "areas.chemicals.count_forms.BookForm": plain,
    "areas.chemicals.count_forms.ShapeForm": plain,
    "areas.chemicals.forms.PlaceForm": plain,
    "areas.chemicals.forms.SheetForm": plain,
    "areas.chemicals.forms.ReasonForm": plain,
    "areas.chemicals.forms.TakeBackForm": plain,
    "areas.chemicals.forms.EmptyForm": plain,
    "areas.chemicals.safety_forms.AreaForm": plain,
    "areas.chemicals.safety_forms.StandsForm": plain,
    "areas.chemicals.safety_forms.SpilledForm": plain,
    "areas.chemicals.safety_forms.SpillForm": plain,
    "areas.chemicals.safety_forms.SpillAgainForm": plain,
    "areas.chemicals.safety_forms.SpillNoteForm": plain,
    "areas.chemicals.safety_forms.SpillCloseForm": plain,
    "areas.chemicals.safety_forms.ThresholdForm": plain,
    "areas.chemicals.unloading_forms.PapersForm": plain,
    "areas.chemicals.unloading_forms.SampleForm": plain,
    "areas.chemicals.unloading_forms.ScanForm": plain,
    "areas.chemicals.unloading_forms.ScanHereForm": plain,
    "areas.chemicals.unloading_forms.UnlockForm": plain,
    "areas.chemicals.unloading_forms.StopForm": plain,
    "areas.chemicals.unloading_forms.StopAnswerForm": plain,
    "areas.chemicals.unloading_forms.ConnectionForm": plain,
    "areas.chemicals.weighing.WeighForm": plain,
    "areas.chemicals.expecting.ExpectedForm": plain,
    "areas.chemicals.expecting.ExpectedChangeForm": plain,
    "areas.chemicals.expecting.CallOffForm": plain,
    "areas.chemicals.expecting.CameForm": plain,
    "areas.chemicals.weighing.WeighAnswerForm": plain,
    "areas.emergency.EyewashForm": plain,
    "areas.safety.forms.NearMissForm": plain,
    "areas.safety.forms.NearMissAnswerForm": plain,
    "areas.safety.forms.NearMissCloseForm": plain,
    "areas.safety.forms.LeftForm": plain,
    "areas.safety.forms.StationForm": plain,
    "areas.safety.forms.StationChangeForm": plain,
    "areas.safety.forms.InspectForm": plain,
    "areas.safety.forms.RoundForm": given(stations=[WashStation(pk=1, code="W1", spot="Yard", kind="both")]),
    "areas.intake.expected.ExpectForm": plain,
    "areas.intake.expected.ExpectAgainForm": plain,
    "areas.intake.expected.NotComingForm": plain,
    "areas.intake.forms.UnknownForm": plain,
    "areas.intake.forms.LookForm": plain,
    "areas.intake.forms.VerdictForm": plain,
    "areas.handover.forms.HandOverForm": plain,
    "areas.handover.forms.TakeForm": plain,
    "areas.handover.forms.TakeHereForm": plain,
    "areas.handover.forms.ItemForm": plain,
    "areas.handover.forms.CloseItemForm": plain,
    "areas.paper_forms.forms.IssueForm": plain,
    "areas.paper_forms.forms.TakeUpForm": plain,
    "areas.paper_forms.forms.ScanForm": plain,
    "areas.paper_forms.forms.EnteredForm": plain,
    "areas.paper_forms.forms.ConfirmForm": plain,
    "areas.paper_forms.forms.BackForm": plain,
    "areas.paper_forms.forms.CloseForm": plain,
    "areas.keeping.forms.CopyForm": plain,
    "areas.setup.meter_feeds.MeterFeedForm": plain,
    "areas.setup.meter_feeds.ChangeMeterFeedForm": plain,
    "areas.setup.meter_feeds.WhyForm": plain,
    "areas.setup.terminals.NameForm": plain,
    "areas.setup.terminals.RetireForm": plain,
    "areas.keeping.retention.PurgeForm": plain,
    "areas.keeping.retention.RulesForm": plain,
    "areas.keeping.retention.HoldForm": plain,
    "areas.keeping.retention.LiftForm": plain,
    "areas.qc.forms.PassForm": plain,
    "areas.qc.forms.FailForm": plain,
    "areas.qc.forms.ReleaseForm": plain,
    "areas.qc.way_forms.SampleForm": plain,
    "areas.qc.way_forms.DiscardForm": plain,
    "areas.deviations.forms.FilterForm": plain,
    "areas.deviations.forms.AssignForm": plain,
    "areas.deviations.forms.DescribeForm": plain,
    "areas.deviations.forms.DecisionForm": plain,
    "areas.deviations.forms.FollowForm": plain,
    "areas.review.forms.HeadForm": plain,
    "areas.review.forms.ReviewForm": plain,
    "areas.review.forms.ReopenForm": plain,
    "areas.batches.story.StoryForm": plain,
    "areas.tracing.forms.InvestigationForm": plain,
    "areas.tracing.forms.TraceForm": plain,
    "areas.setup.entry_checks.EntryChecksForm": plain,
    "areas.setup.feed.FeedForm": plain,
    "areas.setup.feed.RemoveFeedForm": plain,
    "areas.setup.forms.ProfileForm": plain,
    "areas.setup.drains.DrainTableForm": plain,
    "areas.setup.limits.LimitsForm": plain,
    "areas.waste.discharge_forms.OpenForm": plain,
    "areas.waste.discharge_forms.ReadForm": plain,
    "areas.waste.discharge_forms.AnalysisForm": plain,
    "areas.waste.discharge_forms.ReleaseForm": plain,
    "areas.waste.discharge_forms.ReleaseTogetherForm": plain,
    "areas.waste.discharge_forms.CloseForm": plain,
    "areas.waste.discharge_forms.GiveUpForm": plain,
    "areas.waste.discharge_forms.ExcursionForm": plain,
    "areas.waste.discharge_forms.FollowUpForm": plain,
    "areas.waste.discharge_forms.CloseExcursionForm": plain,
    "areas.waste.discharge_forms.SignReportForm": plain,
    "areas.setup.permit.PermitForm": plain,
    "areas.setup.forms.VesselForm": plain,
    "areas.setup.forms.LockOutForm": plain,
    "areas.setup.forms.SkidLockOutForm": plain,
    "areas.setup.forms.LiftForm": plain,
    "areas.setup.forms.CleanDownForm": plain,
    "areas.setup.forms.SkidForm": plain,
    "areas.setup.forms.WaterForm": plain,
    "areas.setup.forms.WasteTankForm": plain,
    "areas.waste.forms.ReadForm": plain,
    "areas.waste.forms.TreatForm": given(chemicals=[("naoh", "Caustic")]),
    "areas.waste.forms.TakeAwayForm": plain,
    "areas.waste.forms.SwitchForm": plain,
    "areas.waste.forms.RouteForm": given(destinations=[("reclaim", "reclaim")]),
    "areas.waste.forms.SiteForm": plain,
    "areas.setup.forms.WasteLevelForm": plain,
    "areas.setup.instrument_forms.InstrumentForm": plain,
    "areas.setup.instrument_forms.CalibrationForm": given(asks_why=True),
    "areas.setup.instrument_forms.TakeOutForm": plain,
    "areas.setup.instrument_forms.LookForm": plain,
    "areas.setup.people.PersonForm": plain,
    "areas.setup.people.WhyForm": plain,
    "areas.setup.people.RenameForm": plain,
    "areas.setup.people.RolesForm": plain,
    "areas.alerts.AnswerForm": plain,
    "areas.authority.drafting.AuthorityForm": plain,
    "areas.authority.drafting.TimesForm": plain,
    "signing.SecondPersonForm": plain,
    "signing.TwoPeopleForm": plain,
    "areas.setup.recipe_form.RecipeForm": given(
        family=ResinFamily.SAC_HYDROGEN, step_kinds=[StepKind.BACKWASH, StepKind.INJECT]
    ),
    "areas.setup.versioned.NewHeadForm": plain,
    "areas.setup.resin_forms.ResinTypeForm": plain,
    "areas.setup.resin_forms.NewLotForm": plain,
    "areas.resin_lots.forms.MixForm": plain,
    "areas.resin_lots.forms.TopUpForm": plain,
    "areas.resin_lots.forms.SplitForm": plain,
    "areas.resin_lots.forms.CountForm": plain,
    "areas.resin_lots.forms.ScrapStoredForm": plain,
    "areas.resin_lots.forms.ConditionedForm": plain,
    "areas.resin_lots.forms.BedTopUpForm": plain,
    "areas.resin_lots.forms.KeepRestForm": plain,
    "areas.setup.resin_forms.ScrapForm": plain,
    "areas.setup.specification_form.SpecificationForm": given(base=default_specifications()[0]),
    "areas.setup.products.EndForm": plain,
    "areas.setup.signed_versions.ApproveForm": plain,
    "areas.setup.signed_versions.WithdrawSignedForm": plain,
    "areas.setup.versions.WithdrawForm": plain,
    "areas.setup.versions.CompareForm": given(versions=[]),
    "sign_in_form.SignInForm": with_request,
    "areas.signin.PasswordForm": plain,
    "areas.signin.PreferencesForm": plain,
    "areas.start.StartForm": plain,
    "areas.start.ThroughputForm": plain,
    "areas.tanks.forms.FilterForm": plain,
    "areas.tanks.forms.TankForm": plain,
    "areas.tanks.forms.ShipForm": plain,
    "areas.tanks.forms.WhyForm": plain,
    "areas.tanks.forms.RushEndForm": plain,
    "areas.tanks.forms.WithdrawForm": plain,
    "areas.tanks.forms.ShellForm": plain,
    "areas.tanks.forms.CustomerForm": plain,
    "areas.tanks.forms.SiteForm": plain,
}
ELSEWHERE = {
    "areas.chemicals.forms.LotSheetForm": ("tests/chemicals/test_lot_papers.py", "chemicals-lot-sheet"),
    "areas.batches.forms.CorrectEntryForm": ("tests/web/test_batch_entries.py", "entry-correct"),
    "areas.intake.forms.ReceiveForm": ("tests/web/test_intake.py", "intake-receive"),
    "areas.qc.forms.MeasurementForm": ("tests/web/test_qc.py", "qc-measure"),
    "areas.qc.forms.CorrectMeasurementForm": ("tests/web/test_qc.py", "qc-correct"),
    "areas.qc.way_forms.ContinueForm": ("tests/web/test_qc_ways.py", "qc-continue"),
    "areas.qc.way_forms.DowngradeForm": ("tests/web/test_qc_ways.py", "qc-downgrade"),
    "areas.rinse.forms.ReadingForm": ("tests/web/test_rinse.py", "rinse"),
    "areas.rinse.forms.CorrectReadingForm": ("tests/web/test_rinse.py", "rinse-correct"),
    "areas.setup.products.ProductForm": ("tests/web/test_products.py", "setup-product-new"),
    "areas.setup.products.CustomerSpecificationForm": (
        "tests/web/test_products.py",
        "setup-product-customer",
    ),
    "areas.rinse.forms.LogForm": ("tests/web/test_rinse_logs.py", "rinse-log"),
    "areas.tanks.forms.ChangeForm": ("tests/web/test_tanks.py", "tanks-change"),
    "parts.SampleForm": ("tests/web/test_parts.py", "parts"),
}
"""Tried by posting to the page they stand on: the test, and the address it posts to."""

BASES = {
    "InStoreForm",
    "HouseForm",
    "ActForm",
    "AmountForm",
    "SigningForm",
    "TwiceForm",
    "LateForm",
    "LookedForm",
}
"""Only what others are made of."""

HOSTILE = (
    "",
    " ",
    "x" * 10_000,
    "-1",
    "0",
    "9" * 30,
    "9" * 5_000,
    "1e999",
    "NaN",
    "-inf",
    "1,416 L",
    "18 Mohm-cm",
    "10 furlongs",
    "-40 °C",
    "<script>alert(1)</script>",
    "'; DROP TABLE tanks; --",
    "../../etc/passwd",
    "\x00",
    "a\x00b",
    "\u202e\u0664\u0662",
    "🧪",
    "2026-13-45",
    "0001-01-01",
    "9999-12-31T23:59",
    "2026-03-29T02:30",
    "None",
    "[]",
)
"""What no field is made for. (The last but two is an hour that many time zones leave out.)"""


ONE_BY_ONE = ("x" * 10_000, "-1", "9" * 30, "1e999", "18 Mohm-cm", "a\x00b", "0001-01-01", "None")
"""A shorter list for one field at a time."""


def form_classes() -> list[str]:
    """Every form of the web that is not only a base of others, as "module.Class"."""
    return sorted(
        f"{module.name.removeprefix('regenplant.web.')}.{node.name}"
        for module in modules_in("regenplant.web")
        for node in ast.walk(module.tree)
        if isinstance(node, ast.ClassDef) and node.name not in BASES
        if any(ast.unparse(base).endswith("Form") for base in node.bases)
    )


def form_named(name: str) -> Any:
    module, _, short = f"regenplant.web.{name}".rpartition(".")
    return getattr(importlib.import_module(module), short)


def posted(**values: str) -> QueryDict:
    data = QueryDict(mutable=True)
    data.update(values)  # type: ignore[arg-type]
    return data


def test_every_form_is_tried_here_or_on_its_page() -> None:
    assert sorted({*FORMS, *ELSEWHERE}) == form_classes()


@pytest.mark.parametrize(("path", "address"), ELSEWHERE.values(), ids=list(ELSEWHERE))
def test_a_form_that_needs_a_batch_is_tried_on_its_page(path: str, address: str) -> None:
    text = (ROOT / path).read_text("utf-8")
    assert f'"{address}"' in text


@pytest.mark.parametrize("name", FORMS)
def test_hostile_values_are_refused_with_a_sentence_or_taken_but_never_crash(name: str, db: None) -> None:
    make, form_class = FORMS[name], form_named(name)
    fields = list(make(form_class, posted()).fields)
    for value in HOSTILE:
        form = make(form_class, posted(**dict.fromkeys(fields, value)))
        form.is_valid()
        for field, errors in form.errors.as_data().items():
            for error in errors:
                sentence = said(form[field], error) if field in form.fields else " ".join(error.messages)
                assert sentence.strip().endswith((".", "?")), f"{field}: {sentence!r}"
                assert "!" not in sentence and "please" not in sentence.lower(), f"{field}: {sentence!r}"
                assert len(sentence) < 400, f"{field} gives {len(sentence)} characters back"


@pytest.mark.parametrize("name", FORMS)
def test_each_field_alone_survives_each_hostile_value(name: str, db: None) -> None:
    """One field at a time, the others left out: cross-checks must bear a field that was refused or is missing."""
    make, form_class = FORMS[name], form_named(name)
    for field in make(form_class, posted()).fields:
        for value in ONE_BY_ONE:
            form = make(form_class, posted(**{field: value}))
            form.is_valid()
            assert form.is_bound


@pytest.mark.parametrize("name", [name for name in FORMS if FORMS[name] is not with_request])
def test_nothing_at_all_names_what_is_needed_or_is_enough(name: str, db: None) -> None:
    form = FORMS[name](form_named(name), posted())
    required = {field for field, is_needed in ((n, f.required) for n, f in form.fields.items()) if is_needed}
    form.is_valid()
    assert required <= set(form.errors), f"needed but not asked for: {required - set(form.errors)}"
