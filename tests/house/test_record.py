"""The record by construction: every table is frozen, versioned, or says why neither; every writing page goes through an act."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest
from django.apps import apps
from django.db import models

from regenplant.audit import locks
from regenplant.audit.use_case import REGISTRY
from tests.house.tree import ROOT, Module, lies_in, modules, modules_in

PARTLY = {
    "batches_batchtank": "which resin is in a batch is frozen; whether it is current or filled moves with its batch, which is versioned",
    "batches_steprun": "frozen once it is done or skipped; before, it moves with its batch, which is versioned",
    "batches_hold": "frozen once it has ended; ended by the one act that moves its batch on",
    "chemicals_weighticket": "a ticket is frozen; it is answered once, where no answer stands yet (compare-and-set on answered_at)",
    "chemicals_chemicallot": "what it is is frozen; in use and finished are moved by one act that takes the other lot out of use",
    "chemicals_datasheet": "a revision is frozen; one act puts it out of force for a newer one",
    "resins_resinlot": "what it is and came from is frozen; it is scrapped once",
    "recipes_recipeversion": "frozen once it is no draft",
    "recipes_specificationversion": "frozen once it is no draft",
    "people_authorityversion": "frozen once it is no draft",
    "plant_limitsversion": "frozen once it is no draft",
    "plant_permitversion": "frozen once it is no draft",
    "plant_draintableversion": "frozen once it is no draft",
    "keeping_retentionversion": "frozen once it is no draft",
    "keeping_legalhold": "what is held and why is frozen; it is lifted once",
    "recipes_customerspecification": "what holds for whom and why is frozen; it is ended once",
    "tanks_customerrush": "for whom, why and since when is frozen; it is ended once",
    "people_person": "identity is frozen; names, roles and account are changed by acts that state before and after",
    "quality_trendalert": "what was seen is frozen; it is looked at once",
    "people_alert": "what happened is frozen; it is answered once",
    "planning_plannedbatch": "what was planned is frozen; it is started, cancelled or replaced once",
    "planning_plannedtank": "of which planned batch is frozen; it is let go once",
    "planning_plannedexpected": "of which planned batch is frozen; it is let go once",
}
"""Tables whose lock covers a part of a row, and why that is enough."""

NEITHER = {
    "batches_rinsestanding": "derived from the readings; no record itself, and worked out anew at any time",
    "batches_forecastmade": "derived: what was forecast from the readings; no record itself, and nothing is decided by it",
    "quality_rinseoutcome": "derived from the record at each judgement; no record itself, and written anew at any time",
    "use_userow": "derived from plan and ledger at each act; no record itself, and written anew at any time",
    "use_useshare": "derived from plan and ledger at each act; no record itself, and written anew at any time",
    "use_usemonth": "derived: sums of the rows; no record itself, and written anew at any time",
    "planning_decision": "of a draft, which is no record itself; what was accepted is frozen",
    "planning_latetankanswer": "of a draft, worked out and no record itself; asked again, the newer answer takes its place",
    "tanks_customer": "only added, never changed",
    "tanks_site": "only added, never changed",
    "tanks_tanksize": "only added, never changed",
    "recipes_recipe": "a name for its versions; they are frozen",
    "recipes_specification": "a name for its versions; they are frozen",
}
"""Tables that are neither frozen nor versioned, each with its reason. Every act still seals the rows it writes."""


def our_models() -> list[type[models.Model]]:
    return [model for model in apps.get_models() if model.__module__.startswith("regenplant.")]


def is_versioned(model: type[models.Model]) -> bool:
    return any(field.name == "version" for field in model._meta.concrete_fields)


@pytest.mark.requirement("ER-01", "ER-22")
@pytest.mark.parametrize("model", our_models(), ids=lambda model: model._meta.db_table)
def test_a_table_is_frozen_or_versioned_or_says_why_neither(model: type[models.Model]) -> None:
    table = model._meta.db_table
    lock = next((one for one in locks.declared() if one.table == table), None)
    if lock is not None and not lock.when and not lock.columns:
        assert table not in PARTLY | NEITHER, "is frozen; it needs no reason"
        return
    if is_versioned(model):
        assert table not in PARTLY | NEITHER, "is versioned; it needs no reason"
        return
    reasons = PARTLY if lock is not None else NEITHER
    assert table in reasons, (
        f"{table} is neither append-only (locks.declare in its apps.py) nor versioned (a field version, written by "
        "compare-and-set), and tests/house/test_record.py gives no reason"
    )


def test_no_reason_is_left_of_a_table_that_is_gone() -> None:
    tables = {model._meta.db_table for model in our_models()}
    assert [table for table in PARTLY | NEITHER if table not in tables] == []


@pytest.mark.parametrize(
    "table", [table for table, why in NEITHER.items() if why == "only added, never changed"]
)
def test_what_is_only_added_is_never_written_again(table: str) -> None:
    """No service saves or updates such a row; the names are those of the model and of its usual variable."""
    model = next(model for model in our_models() if model._meta.db_table == table)
    name = model.__name__
    found = [
        f"{module.at(node)} {ast.unparse(node)[:80]}"
        for module in modules()
        if "services" in module.name.split(".")
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if node.func.attr in ("update", "save", "bulk_update", "delete")
        if ast.unparse(node.func.value).startswith((f"{name}.", f"{name.lower()}."))
        or ast.unparse(node.func.value) == name.lower()
    ]
    assert found == []


COUNTED = {
    "regenplant.chemicals.services.unloading": "the row is locked and must still be open inside the turn of the act that moves it, and it is moved once",
}
"""Modules that count a version up from what they have just read, with the reason why nothing lies between."""


def test_versioned_rows_are_written_where_their_version_still_stands() -> None:
    """Every update that counts a version up names the version it expects, or counts from what stands in the row."""
    wrong = []
    for module in modules():
        for node in ast.walk(module.tree):
            if not (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr == "update"
            ):
                continue
            counted = [keyword.value for keyword in node.keywords if keyword.arg == "version"]
            if not counted or "F(" in ast.unparse(counted[0]) or module.name in COUNTED:
                continue
            if "version=" not in ast.unparse(node.func.value):
                wrong.append(f"{module.at(node)} {ast.unparse(node)[:100]}")
    assert wrong == []


# --- one event for each act -------------------------------------------------------------------------------------------
def test_only_the_recorder_writes_to_the_log_and_it_does_so_once() -> None:
    """``append`` is called in one place, in the recorder, outside any loop: a use case writes one event of its own."""
    calls = []
    for module in modules_in("regenplant"):
        names = _names_of_append(module)
        calls += [
            (module, node)
            for node in (ast.walk(module.tree) if names else ())
            if isinstance(node, ast.Call) and ast.unparse(node.func) in names
        ]
    assert [module.name for module, _ in calls] == ["regenplant.audit.use_case"], [m.at(n) for m, n in calls]
    recorder = next(module for module in modules() if module.name == "regenplant.audit.use_case")
    loops = [
        node
        for node in ast.walk(recorder.tree)
        if isinstance(node, (ast.For, ast.While)) and any(calls[0][1] is inner for inner in ast.walk(node))
    ]
    assert loops == []
    made = [
        module.at(node)
        for module in modules()
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and "create" in node.func.attr
        and ast.unparse(node.func).startswith("AuditEvent.objects.")
    ]
    assert all("regenplant/audit/" in place for place in made)
    assert len(REGISTRY) > 50


def _names_of_append(module: Module) -> set[str]:
    """How a module calls the function that writes to the log, if it knows it."""
    found = {"chain.append", "appending.append"} if lies_in(module.name, "regenplant.audit") else set()
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("regenplant.audit"):
            for alias in node.names:
                if alias.name in ("append", "chain", "appending"):
                    name = alias.asname or alias.name
                    found.add(name if alias.name == "append" else f"{name}.append")
    return found


# --- pages that write -------------------------------------------------------------------------------------------------
DOORS = {"act_page", "try_act", "sign", "approve_page", "withdraw_page"}
"""The house's own ways from a page to a use case; the last two are looked at below."""

NO_ACT = {
    "regenplant.web.areas.signin.sign_out": "ends a session; writes nothing into the record",
    "regenplant.web.areas.paper_forms.acts.go_on": "says in the session which form is transcribed; each entry then is an act",
    "regenplant.web.areas.paper_forms.acts.leave": "says in the session that no form is transcribed",
    "regenplant.web.areas.keeping.views.read": "shows a copy that was handed in; keeps nothing of it",
}
"""Views that take a POST and lead to no use case, each with its reason."""


def methods_of(module: Module, function: ast.FunctionDef) -> str:
    """What a view's decorators say about its methods; a decorator that the file names itself is read where it is made."""
    made = {
        ast.unparse(target): ast.unparse(node.value)
        for node in module.tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
    }
    said = [ast.unparse(decorator) for decorator in function.decorator_list]
    return " ".join(made.get(name, name) for name in said)


def takes_a_post(module: Module, function: ast.FunctionDef) -> bool:
    """Whether a view's decorators let a POST through."""
    said = methods_of(module, function)
    return "require_POST" in said or "'POST'" in said


def service_names(module: Module) -> set[str]:
    """Names in a module that stand for use cases, for modules of services, or for what approves versions alike."""
    found: set[str] = {
        target.id
        for node in module.tree.body
        if isinstance(node, ast.Assign)
        and ast.unparse(node.value).startswith(("Versioned(", "RuleVersions(", "RulePages("))
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                if "services" in whole.split(".") or lies_in(str(node.module), "regenplant.people.signing"):
                    found.add(alias.asname or alias.name)
    return found


def reaches_an_act(module: Module, function: ast.FunctionDef) -> bool:
    """Whether a view, or a helper of its own file that it names, calls a door or a use case."""
    wanted = DOORS | service_names(module)
    helpers = {node.name: node for node in module.tree.body if isinstance(node, ast.FunctionDef)}
    waiting, seen = [function.name], set()
    while waiting:
        name = waiting.pop()
        if name in seen or name not in helpers:
            continue
        seen.add(name)
        names = {node.id for node in ast.walk(helpers[name]) if isinstance(node, ast.Name)}
        if names & wanted:
            return True
        waiting += names & helpers.keys()
    return False


def writing_views() -> Iterator[tuple[str, Module, ast.FunctionDef]]:
    for module in modules_in("regenplant.web.areas"):
        for node in module.tree.body:
            if isinstance(node, ast.FunctionDef) and takes_a_post(module, node):
                yield f"{module.name}.{node.name}", module, node


def test_every_view_that_takes_a_post_leads_to_a_use_case() -> None:
    views = list(writing_views())
    assert len(views) > 40
    lost = [
        name
        for name, module, function in views
        if name not in NO_ACT and not reaches_an_act(module, function)
    ]
    assert lost == []


def test_no_reason_is_left_of_a_view_that_is_gone_or_acts() -> None:
    views = {name: (module, function) for name, module, function in writing_views()}
    assert [name for name in NO_ACT if name not in views or reaches_an_act(*views[name])] == []


def test_every_view_says_which_methods_it_takes() -> None:
    """A view without a decorator for its methods would take a POST unseen by the test above."""
    open_views = []
    for module in modules_in("regenplant.web.areas"):
        for node in module.tree.body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            first = node.args.args[0].arg if node.args.args else ""
            returns = ast.unparse(node.returns) if node.returns else ""
            if first == "request" and "Response" in returns and "require_" not in methods_of(module, node):
                open_views.append(f"{module.name}.{node.name}")
    assert [view for view in open_views if not _only_helps(view)] == []


def _only_helps(view: str) -> bool:
    """Whether a function is called by other views and stands in no address table."""
    name = view.rpartition(".")[2]
    table = "\n".join(
        path.read_text("utf-8")
        for path in [
            *(ROOT / "regenplant" / "web" / "areas").rglob("__init__.py"),
            ROOT / "regenplant" / "urls.py",
        ]
    ) + "\n".join(
        line
        for module in modules_in("regenplant.web.areas")
        for line in module.path.read_text("utf-8").splitlines()
        if "path(" in line
    )
    return f".{name}," not in table and f" {name}," not in table and f".{name})" not in table


def test_a_planted_view_without_an_act_is_found() -> None:
    tree = ast.parse(
        "from regenplant.web.acting import try_act\n"
        "@require_POST\ndef bad(request):\n    return redirect('home')\n"
        "@require_POST\ndef good(request):\n    return _show(request)\n"
        "def _show(request):\n    return try_act(form, act, request)\n"
    )
    module = Module("regenplant.web.areas.planted", ROOT / "planted.py", tree)
    views = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
    assert takes_a_post(module, views["bad"]) and not reaches_an_act(module, views["bad"])
    assert takes_a_post(module, views["good"]) and reaches_an_act(module, views["good"])


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("regenplant.web.areas.setup.versioned", "Versioned"),
        ("regenplant.web.areas.setup.rule_versions", "RuleVersions"),
    ],
)
def test_what_approves_versions_alike_goes_through_the_same_door(place: str, kind: str) -> None:
    (module,) = [module for module in modules_in("regenplant.web") if module.name == place]
    (node,) = [node for node in module.tree.body if isinstance(node, ast.ClassDef) and node.name == kind]
    methods = {item.name: item for item in node.body if isinstance(item, ast.FunctionDef)}
    for name in ("approve", "withdraw"):
        names = {item.id for item in ast.walk(methods[name]) if isinstance(item, ast.Name)}
        assert f"{name}_page" in names


def test_what_shows_rules_alike_hands_on_to_these_doors() -> None:
    (module,) = [
        one for one in modules_in("regenplant.web") if one.name == "regenplant.web.areas.setup.rule_pages"
    ]
    (node,) = [one for one in module.tree.body if isinstance(one, ast.ClassDef) and one.name == "RulePages"]
    called = {
        item.name: {ast.unparse(one.func) for one in ast.walk(item) if isinstance(one, ast.Call)}
        for item in node.body
        if isinstance(item, ast.FunctionDef)
    }
    assert "act_page" in called["draft"]
    assert "self.rules.approve" in called["approve"] and "self.rules.withdraw" in called["withdraw"]


def test_what_signs_versions_alike_goes_through_the_door_of_signatures() -> None:
    place = "regenplant.web.areas.setup.signed_versions"
    (module,) = [module for module in modules_in("regenplant.web") if module.name == place]
    functions = {node.name: node for node in module.tree.body if isinstance(node, ast.FunctionDef)}
    called = {
        name: {
            item.func.id
            for item in ast.walk(node)
            if isinstance(item, ast.Call) and isinstance(item.func, ast.Name)
        }
        for name, node in functions.items()
    }
    assert "sign" in called["approve_page"] and "sign" in called["_withdraw_signed"]
    assert {"act_page", "_withdraw_signed"} <= called["withdraw_page"]
