"""The requirements of the record, of chemical safety and of resin lots, where each is built, and which tests prove it.

    python -m tests.requirements            the table
    python -m tests.requirements ER-09      the tests of one requirement, by name
    python -m tests.requirements --write    renew the table in DEVELOPERS.md

A test says what it proves: ``@pytest.mark.requirement("ER-09")`` on a function or a class, in ``pytestmark``, or on a
parameter. The marks are read from the files, so that no test need be run. A mark says that the test proves the
requirement or a part of it; what is not built yet is missing where the requirement says where it is built.
"""

from __future__ import annotations

import ast
import importlib
import os
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import django

ROOT = Path(__file__).resolve().parents[1]
GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- requirements: begin -->", "<!-- requirements: end -->"
KNOWN = re.compile(r"(ER|CS|EV|RS)-\d\d")


@dataclass(frozen=True, slots=True)
class Requirement:
    """What must be true, in our own short words, and where it is built ("module:name", below ``regenplant``)."""

    id: str
    what: str
    where: tuple[str, ...]


REQUIREMENTS: tuple[Requirement, ...] = (
    Requirement(
        "ER-01", "A signed record never changes; a correction is a new version with a reason, and the old one stays readable",
        ("audit.locks:declare", "batches.services:correct_entry", "batches.services:correct_reading", "quality.services:correct_measurement", "quality.services:reopen_record", "quality.services:amend_decision"),
    ),
    Requirement(
        "ER-02", "A signature covers the content: units, limits, versions and the tank list, as canonical text under a digest",
        ("people.binding:bind", "quality.signed_content:decision_content", "quality.signed_content:release_content"),
    ),
    Requirement("ER-03", "A signature cannot be moved: it covers the identity and the version of its record", ("people.binding:signed_digest",)),
    Requirement(
        "ER-04", "A signature keeps the name as printed then, the time with its zone, the meaning and the version",
        ("people.models:Signature", "people.binding:bind"),
    ),
    Requirement(
        "ER-05", "Name, time and meaning of a signature stand on the screen and on the paper",
        ("web.templatetags.parts:signature", "documents.batch_record.paper:draw_batch_record"),
    ),
    Requirement(
        "ER-06", "The first signature of a session, and the next one after a pause, takes user name and password",
        ("people.signing:prove", "people.signing:needs_full_credentials"),
    ),
    Requirement(
        "ER-07", "Failed signatures are counted, lock the account, and raise an alert that the supervisor sees",
        ("people.throttling:try_password", "people.services:raise_alert", "people.signing:record_refused_signature"),
    ),
    Requirement("ER-08", "Shared accounts sign nothing, and a user name is given once for good", ("people.services:add_person", "people.binding:bind")),
    Requirement(
        "ER-09", "Every act is recorded once: who, when by the server, where, what, before and after, why; nobody can change the record",
        ("audit.use_case:use_case", "audit.chain:verify", "audit.seals:collect", "audit.locks:install"),
    ),
    Requirement("ER-10", "A change after the first writing takes a reason of ten characters and a category", ("audit.reasons:REASON_CATEGORIES",)),
    Requirement("ER-11", "Not done, not applicable and not yet are three values, and none of them is zero", ("keeping.nothing:Nothing",)),
    Requirement(
        "ER-12", "Each entry keeps when it happened and when it was written; a late one is flagged and, beyond the limit, has a reason",
        ("audit.by:By", "audit.limits:RecordLimits", "batches.services:write_entry"),
    ),
    Requirement(
        "ER-13", "A step starts when those before it are done or formally skipped, and not before",
        ("core.process.lifecycle:STEP", "batches.services:start_step", "batches.services:skip_step"),
    ),
    Requirement(
        "ER-14", "Rights by act, role and segregation class; what is not given is denied",
        ("people.authority:RIGHTS", "audit.use_case:require", "audit.classes:class_by"),
    ),
    Requirement(
        "ER-15", "Nobody releases what they performed or recorded, whatever role they hold by then",
        ("quality.services:release_batch", "quality.selectors:participants"),
    ),
    Requirement("ER-16", "A check by two persons is two proofs of identity within the step", ("people.signing:prove_another", "batches.services:check_entry")),
    Requirement(
        "ER-17", "A batch is released when its record was reviewed and no deviation is open",
        ("quality.services:review_record", "quality.services:release_batch", "batches.services:close_deviation"),
    ),
    Requirement(
        "ER-18", "A recipe changes by a new version that another person approves and signs; a running batch keeps its own",
        ("audit.versions:approve", "people.approvals:approve", "recipes.services:approve_recipe_version", "batches.services:freeze_batch"),
    ),
    Requirement(
        "ER-19", "A reading is kept as typed with unit, temperature, compensation and instrument; what is derived can be worked out again",
        ("batches.models:RinseReading", "batches.services:record_reading", "batches.services:take_in"),
    ),
    Requirement(
        "ER-20", "A reading of an instrument out of calibration informs and proves nothing",
        ("core.process.acceptance:judge", "batches.services:record_reading", "batches.services:take_in"),
    ),
    Requirement("ER-21", "Critical entries are keyed again or checked by a second person", ("batches.services:check_entry",)),
    Requirement(
        "ER-22", "The second writer is refused and shown what differs; nothing typed is lost",
        ("audit.records:write_changed", "batches.moves:locked", "web.acting:try_act"),
    ),
    Requirement(
        "ER-23", "One batch is copied whole, as paper and as a file with acts and signatures, and the file verifies without us",
        ("keeping.copy:batch_copy", "keeping.verify_copy:main"),
    ),
    Requirement(
        "ER-24", "A printed copy says page x of y, when and by whom it was printed, the version, and which values were changed",
        ("documents.page:Furniture", "documents.batch_record.paper:draw_batch_record"),
    ),
    Requirement("ER-25", "Records are kept for their time by class; a purge is a signed act, and a legal hold stops it", ("keeping.services:place_hold", "keeping.services:purge")),
    Requirement(
        "ER-26", "Times are stored in UTC and shown with their offset; a clock that was set is recorded, and order is by number",
        ("web.middleware:PlantTimeMiddleware", "audit.clock:noticed"),
    ),
    Requirement("ER-27", "A backup, restored, gives the same digests", ("keeping.backup:back_up", "keeping.restoring:restore")),
    Requirement(
        "ER-28", "From a failed batch: every other batch that shared a lot, a vessel, a water tank or an instrument in a window",
        ("quality.investigation:related_batches",),
    ),
    Requirement(
        "ER-29", "Rejected and reworked tanks keep their history; a rework is a child and its parent stays failed",
        ("batches.services:plan_rework", "tanks.selectors:tank_history"),
    ),
    Requirement(
        "ER-30", "Numbered blank forms, usable once, entered later as transcribed by two persons",
        ("keeping.services:issue_form", "keeping.services:transcribe"),
    ),
    Requirement(
        "ER-31", "Somebody who left keeps all their records, and their signatures still hold",
        ("people.services:deactivate_person", "people.binding:holds"),
    ),
    Requirement(
        "ER-32", "On an open network: encrypted in transit, and an exported record carries a digest beside it",
        ("settings:BEHIND_TLS", "keeping.copy:batch_copy"),
    ),
    Requirement(
        "CS-01", "A delivery is unloaded after papers, UN number, certificate, room and a second person's scan of the connection agree",
        ("chemicals.services:open_unloading", "chemicals.services:check_sample", "chemicals.services:confirm_connection", "chemicals.services:unlock"),
    ),
    Requirement(
        "CS-02", "A tank whose service names an oxidizer is quarantined; no recipe meets it without a written disposition",
        ("core.process.intake:service_findings", "tanks.services:receive_tank", "tanks.services:accept_tank"),
    ),
    Requirement(
        "CS-03", "A vessel remembers its last chemical; what must not meet it waits for a flush",
        ("core.process.recipe_chemistry:needs_rinse_between", "plant.services:note_vessel_state"),
    ),
    Requirement(
        "CS-04", "No injection without protective equipment ticked, a tested eyewash and dilution water flowing",
        ("batches.services:start_step", "plant.selectors:is_eyewash_overdue"),
    ),
    Requirement(
        "CS-05", "Doses are worked out with the strength that the plant checked last, of what stands in the tank",
        ("chemicals.services:check_strength", "chemicals.selectors:stock_data", "chemicals.blending:blended_strength", "chemicals.blending:standing"),
    ),
    Requirement(
        "CS-06", "No step is planned above the temperature that its resin bears", ("core.process.plan_inject_checks:injection_checks", "core.process.recipe_chemistry:caustic_max_kelvin")
    ),
    Requirement("CS-07", "Labels take their codes from the data sheet in force for the lot", ("chemicals.services:add_data_sheet", "documents.chemical_label:draw_chemical_label")),
    Requirement(
        "CS-08", "A unit that is locked out is in no plan, and no step starts in it",
        ("plant.services:lock_out_vessel", "plant.services:lift_lock_out", "batches.services:start_step"),
    ),
    Requirement("CS-09", "Where to wash, what to do and whom to call is readable without signing in", ("web.areas.emergency:emergency", "documents.emergency_card:card_content")),
    Requirement(
        "CS-10", "What a batch used follows from plan and ledger, and the ledger follows when an entry is corrected",
        ("use.gathering:taken_by", "batches.services._settling:settle_draw"),
    ),
    Requirement(
        "CS-11", "A signed audit of use keeps figures and names as they stood; every print says the same",
        ("use.services:sign_report", "documents.use_report:draw_use_report"),
    ),
    Requirement(
        "EV-01", "Each draining step has a destination that the class table allows; no step starts toward another",
        ("core.process.drains:CLASS_TABLE", "plant.services:approve_drain_table", "batches.services:route_step", "waste.models:StepDrain",),
    ),
    Requirement(
        "EV-02", "A batch with a metal flag never drains into the neutralization tank, whoever chooses it",
        ("core.process.drains:allowed", "core.process.metal_route:for_metal", "batches.services:start_step",),
    ),
    Requirement(
        "EV-03", "Metal-bearing resin is accepted only under a recorded determination of the site with day, document and reviewer",
        ("plant.services:record_determination", "plant.site:determination_stop", "core.process.intake:metal_stop",),
    ),
    Requirement(
        "EV-04", "Nothing is discharged without two good readings of a mixed tank, apart in time, inside the permit; nothing averages in",
        ("core.process.discharge:judge", "plant.services:approve_permit"),
    ),
    Requirement(
        "EV-05", "A spill is turned into its mass as 100 % and held against the reportable quantity; the program says so and decides nothing",
        ("chemicals.services:record_spill", "chemicals.services:close_spill", "core.process.thresholds:reference_for"),
    ),
    Requirement(
        "EV-06", "The permit’s masses of a day hold: a batch or a discharge that would exceed them is refused with its reason",
        ("core.process.sewer_budget:budget_lines", "batches.sewer_budget:budget_checks"),
    ),
    Requirement(
        "EV-07", "The most of each chemical that stood at the plant in a year, as 100 % and as product, follows from the ledger",
        ("core.process.inventory:peak_of", "chemicals.reporting:inventory_of_year"),
    ),
    Requirement(
        "EV-08", "Room in the waste tank counts what stands in it and what begun batches still bring, with the reserve kept",
        ("batches.waste_room:committed_m3", "core.process.plan_supply_checks:waste_checks", "waste.services:set_waste_level",),
    ),
    # bodies of resin
    Requirement("RS-01", "A lot that is mixed, split or topped up knows of which deliveries it consists, by share, with their age and regenerations", ("core.process.resin_lots:blended", "resins.services:mix_in_store", "batches.services:top_up_batch")),
    Requirement("RS-02", "A volume of resin always has its ionic form and is converted by the growth of the resin", ("core.process.resin_lots:in_exhausted_form_m3",)),
    Requirement("RS-03", "A lot is traced both ways to every lot, batch, round trip, tank and customer, and a tank or customer to its lots", ("quality.lot_trace:trace_of_lot", "quality.lot_visits:visits_with", "quality.lot_visits:lots_of_customer", "quality.lots_behind:behind")),
    Requirement("RS-04", "The capacity left is a band from published ageing and the plant’s own evidence, never a single number", ("core.process.resin_ageing:update", "quality.ageing:ageing_of")),
    Requirement("RS-05", "Advice about a lot comes with its reason and figures, promises nothing, and a person decides", ("core.process.resin_advice:advise",)),
    Requirement("RS-06", "The capacity that plans count with is set by a person with a reason, beside what the record proposed", ("quality.services:set_lot_capacity",)),
    Requirement("RS-07", "Laboratory figures and signs lead to what may foul a resin and to the quick test that decides", ("core.process.resin_fouling:suspects", "core.process.resin_tests:findings")),
    Requirement("RS-08", "What each cycle lost of the resin follows from what was counted, with its rate and spread", ("core.process.resin_losses:loss_rate", "batches.cycle_losses:losses_of")),
)  # fmt: skip


# --- the tests that prove them ----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Mark:
    """One mark: a requirement, and the test (or class, or file) that carries it."""

    id: str
    file: str
    name: str
    line: int


@cache
def marks() -> tuple[Mark, ...]:
    """Every mark of every test file, in order."""
    found: list[Mark] = []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        text = path.read_text("utf-8")
        if "mark.requirement" in text:
            found += _marks_in(ast.parse(text), str(path.relative_to(ROOT)))
    return tuple(found)


def _marks_in(tree: ast.Module, file: str) -> Iterator[Mark]:
    def walk(node: ast.AST, name: str) -> Iterator[Mark]:
        for child in ast.iter_child_nodes(node):
            inner = name
            if isinstance(child, (ast.FunctionDef, ast.ClassDef)):
                inner = child.name if not name else f"{name}.{child.name}"
            if isinstance(child, ast.Call) and ast.unparse(child.func).endswith("mark.requirement"):
                for argument in child.args:
                    given = argument.value if isinstance(argument, ast.Constant) else ast.unparse(argument)
                    yield Mark(str(given), file, name or "all of the file", child.lineno)
            yield from walk(child, inner)

    yield from walk(tree, "")


def tests_of(id: str) -> tuple[Mark, ...]:
    return tuple(mark for mark in marks() if mark.id == id)


# --- where they are built ---------------------------------------------------------------------------------------------
def is_there(reference: str) -> bool:
    """Whether a name that a requirement says exists in the program."""
    module, _, name = reference.partition(":")
    try:
        found: object = importlib.import_module(f"regenplant.{module}")
    except ModuleNotFoundError as missing:
        if not (missing.name or "").startswith("regenplant"):
            raise
        return False
    for part in name.split("."):
        if not hasattr(found, part):
            return False
        found = getattr(found, part)
    return True


def missing_references(requirement: Requirement) -> tuple[str, ...]:
    return tuple(reference for reference in requirement.where if not is_there(reference))


# --- the table ----------------------------------------------------------------------------------------------------------
def table() -> str:
    """Requirement, where it is built, which files prove it with how many tests."""
    lines = ["| requirement | what must be true | built in | proven by |", "|---|---|---|---|"]
    for requirement in REQUIREMENTS:
        where = "<br>".join(f"`{reference}`" for reference in requirement.where)
        files: dict[str, int] = {}
        for mark in tests_of(requirement.id):
            files[mark.file] = files.get(mark.file, 0) + 1
        proven = "<br>".join(f"`{file}` ({count})" for file, count in files.items()) or "nothing yet"
        lines.append(f"| {requirement.id} | {requirement.what} | {where} | {proven} |")
    return "\n".join(lines)


def shown_in_guide() -> str:
    """The table as it stands in the guide for developers."""
    return GUIDE.read_text("utf-8").partition(BEGIN)[2].partition(END)[0].strip()


def write() -> None:
    text = GUIDE.read_text("utf-8")
    head, _, rest = text.partition(BEGIN)
    _, _, tail = rest.partition(END)
    GUIDE.write_text(f"{head}{BEGIN}\n{table()}\n{END}{tail}", "utf-8")


def main(arguments: list[str]) -> int:
    if arguments == ["--write"]:
        write()
        print(f"Written: {len(REQUIREMENTS)} requirements, {len(marks())} marks.")
    elif arguments and all(KNOWN.fullmatch(one) for one in arguments):
        for one in arguments:
            for mark in tests_of(one):
                print(f"{one}  {mark.file}:{mark.line}  {mark.name}")
        return 0
    else:
        print(table())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    for requirement in REQUIREMENTS:
        for reference in missing_references(requirement):
            print(f"{requirement.id}: {reference} is not built")
        if not tests_of(requirement.id):
            print(f"{requirement.id}: no test")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
