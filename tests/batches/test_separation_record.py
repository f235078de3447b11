"""The separation record of a mixed bed: required, kept as written, part of what is signed."""

from __future__ import annotations

import pytest

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, Deviation
from regenplant.batches.selectors import batch_page, separation_record
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.quality.signed_content import decision_content
from regenplant.quality.specification import judgement
from tests import factories, families
from tests.factories import SmallPlant
from tests.families import cut_done, step_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return families.frozen(plant, "mixed bed")


# --- the separation record --------------------------------------------------------------------------------------------
def test_no_leg_runs_without_the_separation_record(plant: SmallPlant, batch: Batch) -> None:
    cut = families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    plant.forward(minutes=30)
    record = separation_record(batch)
    assert record is not None and not record.is_done and record.missing
    with pytest.raises(TransitionRefused, match=r"First write down .*Interface above the bed support"):
        batch_services.finish_step(by=plant.by(), step_id=cut.pk)
    other = families.frozen(
        plant,
        "mixed bed",
        vessel_id=families.spare(plant, "M3", "M1"),
        anion_vessel_id=families.spare(plant, "M4", "M2"),
    )
    families.work_to(plant, other, StepKind.CUT)
    with pytest.raises(TransitionRefused, match="Interface cut is never skipped"):
        batch_services.skip_step(
            by=plant.by("supervisor"),
            step_id=step_of(other, StepKind.CUT).pk,
            reason="we do this by eye",
        )


def test_heights_volumes_and_fractions_read_as_they_were_written(plant: SmallPlant, batch: Batch) -> None:
    cut = families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    factories.write(plant, cut, "interface_height", "0.34 m")
    factories.write(plant, cut, "cation_in_anion", "0.4 %")
    factories.write(plant, cut, "cut_container", "Cut 7, blue lid")
    factories.work_off(plant, cut)
    record = separation_record(batch)
    assert record is not None and record.is_done and record.missing == () and record.done_by == "Operator 1"
    assert [line.key for line in record.heights] == ["interface_height"]
    assert {line.key for line in record.volumes} == {"cation_volume", "anion_volume", "cut_volume"}
    assert {line.key for line in record.fractions} == {"cation_in_anion", "anion_in_cation"}
    assert record.line("cut_container").as_typed == "Cut 7, blue lid"
    assert {"interface_height_m", "overlap_frac", "cation_in_anion_frac"} <= set(record.predicted)
    page = batch_page(Batch.objects.get(pk=batch.pk), by=plant.by())
    assert page.separation == record


def test_what_is_decided_on_a_mixed_bed_covers_its_separation(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    content = decision_content(batch, judgement(batch), "pass", "")
    assert content["anion_vessel"] == "M2"
    written = {line["key"]: line["as_typed"] for line in content["separation"]}
    assert written["cut_container"] == "as on the label"
    assert "separation" not in decision_content(
        factories.frozen_batch(plant, "sba_2"), judgement(batch), "pass", ""
    )


def test_beads_of_the_other_kind_above_the_limit_open_a_major_deviation(
    plant: SmallPlant, batch: Batch
) -> None:
    cut = families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    with pytest.raises(RecordRefused, match="outside the limits"):
        factories.write(plant, cut, "cation_in_anion", "4 %")
    batch_services.write_entry(
        by=plant.by(), step_id=cut.pk, key="cation_in_anion", text="4 %", outside_is_true=True
    )
    assert Deviation.objects.get(batch=batch).severity == "major"
    record = separation_record(batch)
    assert record is not None and [line.key for line in record.outside] == ["cation_in_anion"]


def test_settling_before_the_cut_is_never_skipped(plant: SmallPlant, batch: Batch) -> None:
    settle = families.work_to(plant, batch, StepKind.SETTLE)
    with pytest.raises(TransitionRefused, match="never skipped"):
        batch_services.skip_step(by=plant.by("supervisor"), step_id=settle.pk, reason="the bed looks still")


# --- words ------------------------------------------------------------------------------------------------------------
def test_words_are_kept_as_written_and_empty_or_endless_ones_refused(plant: SmallPlant, batch: Batch) -> None:
    cut = families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    entry = batch_services.write_entry(
        by=plant.by(), step_id=cut.pk, key="cut_container", text="  Drum 12, lid A  "
    ).result
    assert (entry.value_as_typed, entry.unit_as_typed, entry.value, entry.is_within) == (
        "Drum 12, lid A",
        "",
        None,
        None,
    )
    for text, code in (("   ", "empty"), ("x" * 201, "too_long"), ("a\x00b", "control")):
        with pytest.raises(RecordRefused) as refusal:
            factories.write(plant, cut, "cut_container", text)
        assert refusal.value.code == code
