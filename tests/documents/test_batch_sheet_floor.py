"""What a person at the vessel, and an expert beside them, found wrong on the printed sheets: each holds now."""

from __future__ import annotations

import re
from functools import lru_cache

import pytest

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.vocabulary import Chemical, Purpose, ResinFamily, StepKind
from regenplant.documents.batch_sheet import Wanted, draw_batch_sheet
from regenplant.documents.batch_sheet_setting import setting_of
from regenplant.documents.batch_sheet_totals import LOADS_WITHOUT_RESIN
from regenplant.documents.batch_sheet_working import _hung
from regenplant.documents.faces import BODY, Span, broken
from regenplant.documents.page import A4
from regenplant.documents.parts import TICK_BOX
from regenplant.documents.texts import headed
from tests.documents import examples
from tests.documents.drawn import sheet_of
from tests.documents.reading import page_texts, plain, whole_text

CODES = list(examples.RECIPES)
SINGLE = [code for code, recipe in examples.RECIPES.items() if not recipe.family.is_mixed]


@lru_cache(maxsize=64)
def order_of(code: str) -> str:
    return whole_text(draw_batch_sheet(examples.content_of(code), A4, "metric", Wanted.WORK_ORDER))


# --- one number for one thing -----------------------------------------------------------------------------------
@pytest.mark.parametrize("code", CODES)
def test_there_is_one_place_to_stop_and_ask(code):
    """The step named the recipe's bed volumes, its end point the specification's: 14 and 18 in one step."""
    asked = {
        number for text in (order_of(code),) for number in re.findall(r"[Ss]top and ask at ([\d.]+) BV", text)
    }
    last = examples.RECIPES[code].last_rinse()
    rinses = [step for step in examples.RECIPES[code].steps if step.kind.is_judged_rinse]
    assert last is not None
    assert asked == {f"{step.settings['volume_bv'].high:g}" for step in rinses}


@pytest.mark.parametrize("code", CODES)
def test_no_second_flow_or_dose_stands_beside_the_one_to_set(code):
    order, whole = order_of(code), whole_text(sheet_of(code, "a4", "metric"))
    for words in ("Recommended backwash flow", "Dose to aim at for this resin"):
        assert words not in order
    if any(step.kind is StepKind.BACKWASH for step in examples.plan_of(code).steps):
        assert "Recommended backwash flow" in whole


@pytest.mark.parametrize("code", ["SAN-NA-NAOCL", "SAN-NA-PAA", "GAC-EXCHANGE"])
def test_a_small_mass_keeps_its_digits(code):
    """0.255 kg of hypochlorite stood as 0.3 kg, from which nobody gets to 2.0 kg of stock."""
    step = next(s for s in examples.plan_of(code).steps if s.kind is StepKind.SANITIZE)
    mass, stock = step.figures["chemical_kg_100"], step.figures["stock_kg"]
    strength = examples.plan_of(code).request.stock[step.chemical.value].strength_frac
    shown = float(units.format_quantity(mass.value, "mass", with_unit=False))
    assert shown == pytest.approx(mass.value, rel=5e-3)
    assert shown / strength == pytest.approx(stock.value, rel=5e-3)
    assert plain(units.format_quantity(mass.value, "mass")) in order_of(code)


# --- neutralizer and loads --------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", CODES)
def test_what_is_nothing_has_no_row(code):
    """ "0.0 kg" of a neutralizer that nobody needs, beside the order to give it in two parts."""
    totals = examples.plan_of(code).totals
    first = totals.get("neutralizer_first_kg_100")
    assert ("for neutralization, first stage" in order_of(code)) == (first is not None and first.value > 0.0)
    for key in ("chloride_kg", "sodium_kg", "sulfate_kg", "ammonium_kg"):
        if key in totals:
            assert (plain(headed(totals[key].name)) in order_of(code)) == (totals[key].value != 0.0), key


@pytest.mark.parametrize("code", CODES)
def test_loads_say_whether_they_count_what_came_off_the_resin(code):
    names = [
        e.name
        for key, e in examples.plan_of(code).totals.items()
        if key.startswith(("chloride_kg", "sodium_kg"))
    ]
    short = any(name.endswith("regenerant and neutralizer") for name in names)
    assert (plain(LOADS_WITHOUT_RESIN) in order_of(code)) == short


def test_the_stock_of_the_neutralizer_is_named_with_its_strength():
    assert "never give both at once. Stock: lot HCL-118, 32.00 % HCl." in order_of("OH2-NAOH-80")
    assert "Stock: lot NAOH-118, 50.00 % NaOH." in order_of("WH-HCL-78")


# --- words of the purpose ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", [c for c, r in examples.RECIPES.items() if r.purpose is Purpose.CLEANING])
def test_before_the_last_injection_of_a_cleaning_nothing_is_called_a_regenerant(code):
    plan, text = examples.plan_of(code), order_of(code)
    last = [step for step in plan.steps if step.kind is StepKind.INJECT][-1]
    steps = text[text.index(plain(plan.steps[0].instruction)) : text.index(plain(last.instruction))]
    assert "regenerant" not in steps.lower()
    assert "Diluted regenerant fed" in text[text.index(plain(last.instruction)) :]


def test_sulfuric_acid_in_one_step_is_not_step_by_step():
    assert "step by step" not in order_of("WH-H2SO4-104")
    assert "step by step" in order_of(examples.SULFURIC)


# --- what is measured where --------------------------------------------------------------------------------------
def test_the_rinse_of_a_softener_is_read_as_hardness_and_that_of_an_anion_bed_by_the_meter():
    softener, anion = order_of("NA-NACL-160"), order_of("OH2-NAOH-80")
    assert "Time Water passed Hardness Kit or meter Initials" in softener
    assert "Meter corrects" not in softener and "µS/cm" not in softener
    assert "Time Water passed Reading At Meter corrects Cell Initials" in anion


def test_the_sanitizer_is_not_checked_by_a_density_that_is_that_of_water():
    step = next(s for s in examples.plan_of("SAN-NA-NAOCL").steps if s.kind is StepKind.SANITIZE)
    assert "density_kg_per_m3" in step.figures
    assert "taken as water" not in order_of("SAN-NA-NAOCL")
    assert "0.01 % is 100 mg/L." in order_of("SAN-NA-NAOCL")


# --- setting ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("text", ["keep 50 % caustic warm", "at most 7 d old", "after 60 min of soak", "at 35 °C now", "about 1 MΩ·cm here"])  # fmt: skip
def test_a_number_and_its_unit_are_never_parted(text):
    for width in range(20, 160, 3):
        for line in broken((Span(text, BODY),), float(width)):
            words = "".join(span.text for _, span in line.pieces)
            assert not re.search(r"\d$", words.strip()) or width < 60, (width, words)


@pytest.mark.parametrize("code", CODES)
def test_no_word_in_the_margin_is_cut(code):
    """ "Displacemen t rinse" stood beside the working."""
    content = examples.content_of(code)
    for place in setting_of(content, 440.0, "metric").worked:
        assert _hung(place.title).height > 0
    text = whole_text(sheet_of(code, "a4", "metric"))
    assert "Displacemen t" not in text and "Intermediat e" not in text and "Recirculatin g" not in text


def test_a_box_to_tick_takes_a_hand_in_a_glove():
    """4 mm and more; what is common on forms is 4 to 6 mm (common practice)."""
    assert TICK_BOX / 72 * 25.4 >= 4.0


@pytest.mark.parametrize("code", CODES)
def test_figures_of_a_step_stand_together_on_one_page(code):
    """The flow stood on one page and the dose on the page before."""
    plan, pages = examples.plan_of(code), page_texts(sheet_of(code, "a4", "metric"))
    for step in plan.steps:
        if step.kind is not StepKind.INJECT:
            continue
        keys = ("chemical_kg_100", "stock_m3", "flow_m3_per_s", "density_kg_per_m3")
        names = [plain(headed(step.figures[key].name)) for key in keys]
        # two steps of one recipe may read the same
        begun = [text for text in pages if plain(step.instruction) in text]
        assert any(all(name in text for name in names) for text in begun), step.name


# --- nothing without a way to it ---------------------------------------------------------------------------------
@pytest.mark.parametrize("code", CODES)
def test_a_figure_worked_out_once_says_so_at_every_other_place(code):
    content = examples.content_of(code)
    text = plain(whole_text(sheet_of(code, "a4", "metric")))
    repeated = [
        (estimate, title)
        for place in setting_of(content, 440.0, "metric").worked
        for estimate, title in place.worked_before
    ]
    assert repeated, "every sheet has a figure that stands in two places"
    for estimate, title in repeated:
        assert f"as worked under “{plain(title)}”" in text
        assert plain(estimate.name[1:]) in text


@pytest.mark.parametrize("code", [c for c in SINGLE if examples.RECIPES[c].purpose is Purpose.REGENERATION and examples.plan_of(c).request.feed is None])  # fmt: skip
def test_the_ions_of_the_waste_come_out_by_hand_from_what_was_brought_and_taken(code):
    """Regenerant less what the resin took up, with what it gave up, over the volume to the waste tank: charges balance."""
    plan = examples.plan_of(code)
    applied, eluted, volume = (plan.totals[key].value for key in ("applied_eq", "eluted_eq", "waste_m3"))
    found = {e.name.partition(",")[0]: e.value * volume for e in _waste_ions(plan)}
    chemical = next(step.chemical for step in plan.steps if step.kind is StepKind.INJECT)
    wanted = _by_hand(chemical, plan.request.resin.family, applied, eluted)
    assert found == pytest.approx(wanted, rel=1e-9)


def _waste_ions(plan: BatchPlan):
    ph: Estimate = plan.totals["waste_ph"]
    return [entry for entry in ph.inputs if entry.name.endswith("all forms")]


def _by_hand(chemical: Chemical, family: ResinFamily, applied: float, eluted: float) -> dict[str, float]:
    """Moles of each ion in the waste; anion resins gave up chloride, cation resins calcium or sodium (none is on record)."""
    given_by_cation = {"calcium": eluted / 2} if family in (ResinFamily.SAC_SODIUM, ResinFamily.WAC_HYDROGEN) else {"sodium": eluted}  # fmt: skip
    return {
        Chemical.HYDROCHLORIC_ACID: {"chloride": applied, **given_by_cation},
        Chemical.SULFURIC_ACID: {"sulfate": applied / 2, **given_by_cation},
        Chemical.SODIUM_CHLORIDE: {"chloride": applied, "sodium": applied - eluted, **given_by_cation},
        Chemical.SODIUM_HYDROXIDE: {"sodium": applied, "chloride": eluted},
        Chemical.SODIUM_CARBONATE: {"sodium": applied, "carbonate": applied / 2, "chloride": eluted},
        Chemical.AMMONIA: {"ammonia": applied, "chloride": eluted},
    }[chemical]
