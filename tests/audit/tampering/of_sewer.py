"""Falsifying the permit, discharges, excursions and monthly reports."""

from __future__ import annotations

from tests.audit.tampering.ways import altered, removed

altered(
    "say less went to the sewer",
    "waste_discharge",
    "chloride_kg = chloride_kg * 0.5",
    where="state = 'closed'",
    says="discharge .+",
)
altered("say more was released", "waste_discharge", "planned_volume_m3 = planned_volume_m3 * 2", where="state = 'closed'", says="discharge .+",
        and_says="discharge: Discharge .+ names another volume than was signed")  # fmt: skip
altered("say it was released under a wider permit", "waste_discharge", "permit_text = REPLACE(permit_text, '\"ph_high\":9.0', '\"ph_high\":11.0')",
        where="state = 'closed'", says="discharge .+", and_says="discharge: Discharge .+ names another permit than was signed")  # fmt: skip
altered("say another person released it", "waste_discharge", "released_by_id = opened_by_id", where="state = 'closed'", says="discharge .+",
        and_says="discharge: Discharge .+ bears a signature that was given on something else")  # fmt: skip
altered("bring a pH of the sewer right", "waste_dischargereading", "ph = 7.0, fault = ''", where="fault <> ''", says="discharge reading .+",
        and_says="discharge: Discharge .+ rests on other readings than were signed")  # fmt: skip
removed(
    "delete a reading of the sewer", "waste_dischargereading", where="fault <> ''", says="discharge reading"
)
altered("tell an excursion milder", "waste_excursion", "words = 'nothing to speak of'", where="closed_at IS NOT NULL", says="excursion .+",
        and_says="excursion: What excursion .+ says is not what was signed")  # fmt: skip
removed("delete an excursion", "waste_excursion", where="closed_at IS NULL", says="excursion")
altered("change a figure of a discharge report", "waste_dischargereport", "content = REPLACE(content, '\"volume_m3\":0.5', '\"volume_m3\":0.4')",
        says="discharge report .+", and_says="discharge report: What discharge report .+ says is not what was signed")  # fmt: skip
altered("let brine drain where it may not", "plant_draintableversion", "content = REPLACE(content, '\"neutralization\"', '\"brine_sewer\"')", says="drain table version .+",
        and_says="approval: ")  # fmt: skip
altered(
    "let the drains run elsewhere",
    "plant_wastetank",
    "receives = NOT receives",
    where="code = 'N1'",
    says="waste tank .+",
)
altered("let the permit hold for longer", "plant_permitversion", "content = REPLACE(content, '2030-06-30', '2040-06-30')", says="permit version .+",
        and_says="approval: ")  # fmt: skip
