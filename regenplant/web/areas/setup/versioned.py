"""What happens alike to recipes and to specifications: found by code, compared, drafted, approved and withdrawn.

A ``Versioned`` says what differs; the pages of its own stand in ``recipes`` and ``specifications``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.recipes.selectors import Difference, is_intact
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.setup import versions
from regenplant.web.areas.setup.signed_versions import (
    approve_page,
    compared_signatures,
    signature_rows,
    withdraw_page,
)
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


class NewHeadForm(HouseForm):
    """What a new recipe or specification is called, and whom it serves."""

    code = words_field(16, label="Code", help_text="Capitals, digits and hyphens, for example H-HCL-100.")
    grade = words_field(20, label="Grade", initial="working", help_text="Which pool it serves.")


@dataclass(frozen=True, slots=True)
class Versioned:
    """One kind of thing that lives in approved versions."""

    noun: str
    """ "recipe": its pages are named "setup-recipe", "setup-recipe-version" and so on."""
    things: Callable[[], QuerySet[Any]]
    definition_of: Callable[[Any], Any]
    content: Callable[[Any, Any, str], dict[str, Any]]
    """What pages show of (thing, definition, unit system): the page of a version, and the one on which it is signed."""
    differences: Callable[[Any, Any], tuple[Difference, ...]]
    to_begin_with: Callable[[], Iterable[Any]]
    """Definitions of the house a new one may begin with."""
    approve_version: Callable[..., Outcome]
    withdraw_version: Callable[..., Outcome]
    after_withdrawal: str
    """What a withdrawal means, as a sentence."""

    @property
    def list_url(self) -> str:
        return reverse(f"setup-{self.noun}s")

    def url(self, code: str, number: int | None = None) -> str:
        if number is None:
            return reverse(f"setup-{self.noun}", kwargs={"code": code})
        return reverse(f"setup-{self.noun}-version", kwargs={"code": code, "number": number})

    def thing(self, code: str) -> Any:
        return get_object_or_404(self.things(), code=code.upper())

    def version(self, thing: Any, number: int) -> Any:
        found = next((version for version in thing.versions.all() if version.number == number), None)
        if found is None:
            raise Http404(f"{thing.code} has no version {number}.")
        return found

    def newest(self, thing: Any) -> Any:
        """The newest version of a thing that was found by its address."""
        found = newest_of(thing)
        if found is None:
            raise Http404(f"{thing.code} has no version.")
        return found

    # --- pages --------------------------------------------------------------------------------------------------------
    def listed(self, thing: Any, family_note: str = "") -> dict[str, Any]:
        """A thing in the list, by its newest version."""
        newest = newest_of(thing)
        state, word = versions.mark_of(newest) if newest else ("waiting", "No version")
        return {
            "url": self.url(thing.code),
            "code": thing.code,
            "name": thing.name,
            "family": f"{ResinFamily(thing.family).abbreviation}{family_note}",
            "version": newest.number if newest else 0,
            "state": state,
            "word": word,
        }

    def version_context(
        self, request: HttpRequest, thing: Any, version: Any, definition: Any
    ) -> dict[str, Any]:
        """What the page of any version shows beside its own content."""
        listed = list(thing.versions.all())
        earlier = self._earlier(thing, version)
        changes = self.differences(self.definition_of(earlier), definition) if earlier else ()
        return {
            **self.content(thing, definition, unit_system_of(request)),
            "heading": f"{thing.code}, version {version.number}",
            "version": version,
            "versions": listed,
            "mark": versions.mark_of(version),
            "sentence": versions.version_sentence(version),
            "earlier": earlier,
            "changes": versions.difference_rows(changes, unit_system_of(request)),
            "is_intact": is_intact(version),
            "signatures": signature_rows(version),
            "is_own": version.made_by_id == request.user.pk,
            "edit": right(request, "recipe.edit"),
            "approve": right(request, "recipe.approve"),
            "story": story([(self.noun, str(thing.pk))], newest_first=True, limit=15),
        }

    def compare(self, request: HttpRequest, code: str) -> HttpResponse:
        thing = self.thing(code)
        listed = list(thing.versions.all())
        initial = {"new": listed[0].number, "old": listed[min(1, len(listed) - 1)].number} if listed else {}
        form = versions.CompareForm(request.GET or None, versions=listed, initial=initial)
        changes, signatures = None, None
        if form.is_valid():
            chosen = [self.version(thing, form.cleaned_data[name]) for name in ("old", "new")]
            old, new = (self.definition_of(version) for version in chosen)
            changes = versions.difference_rows(self.differences(old, new), unit_system_of(request))
            signatures = compared_signatures(chosen)
        context = {
            "code": thing.code,
            "form": form,
            "changes": changes,
            "signatures": signatures,
            "back_url": self.url(thing.code),
        }
        return render(request, "setup/compare.html", context)

    # --- drafting -----------------------------------------------------------------------------------------------------
    def starting_points(self) -> dict[str, Any]:
        """What a new one may begin with: the newest version of each, then the house's own."""
        found = {
            thing.code: self.definition_of(newest)
            for thing in self.things()
            if (newest := newest_of(thing)) is not None
        }
        return {**{definition.code: definition for definition in self.to_begin_with()}, **found}

    def begin(self, request: HttpRequest, points: Mapping[str, Any]) -> HttpResponse:
        """The page on which a person chooses what to begin with."""
        own = {thing.code for thing in self.things()}
        rows = [
            (
                f"?from={code}",
                code,
                one.name,
                one.family.abbreviation if code in own else f"{one.family.abbreviation}, {versions.SHIPPED}",
            )
            for code, one in points.items()
        ]
        context = {"noun": self.noun, "rows": rows, "back_url": self.list_url}
        return render(request, "setup/begin.html", context)

    def after_new(self, request: HttpRequest, outcome: Outcome) -> HttpResponse:
        code = outcome.subject[2]
        receipt(request, f"Written: {self.noun} {code}, version 1 as a draft.")
        return redirect(self.url(code))

    def after_draft(self, request: HttpRequest, thing: Any, outcome: Outcome) -> HttpResponse:
        number = outcome.result.number
        receipt(request, f"Written: version {number} of {thing.code} as a draft.")
        return redirect(self.url(thing.code, number))

    def new_page(
        self, request: HttpRequest, form: HouseForm, base: Any, head: HouseForm, **more: Any
    ) -> HttpResponse:
        words = {
            "title": f"New {self.noun}",
            "sentence": f"Begun with {base.code}: {base.family.label}.",
            "back_url": self.list_url,
        }
        return self._form_page(request, form, {**words, "head": head, **more}, bool(head.errors))

    def draft_page(
        self, request: HttpRequest, form: HouseForm, thing: Any, source: Any, **more: Any
    ) -> HttpResponse:
        words = {
            "title": f"Next version of {thing.code}",
            "sentence": f"Begun with version {source.number}. It becomes a draft, and another person approves it.",
            "back_url": self.url(thing.code),
        }
        return self._form_page(request, form, {**words, "head": None, **more}, False)

    def _form_page(
        self, request: HttpRequest, form: HouseForm, context: dict[str, Any], is_head_bad: bool
    ) -> HttpResponse:
        status = refused_status(form) if form.errors or is_head_bad else 200
        context = {**context, "form": form, "right": right(request, "recipe.edit")}
        return render(request, f"setup/{self.noun}_form.html", context, status=status)

    # --- approval -----------------------------------------------------------------------------------------------------
    def approve(self, request: HttpRequest, code: str, number: int) -> HttpResponse:
        thing = self.thing(code)
        version, system = self.version(thing, number), unit_system_of(request)
        definition = self.definition_of(version)
        earlier = self._earlier(thing, version)
        changes = self.differences(self.definition_of(earlier), definition) if earlier else ()
        return approve_page(
            request,
            version,
            title=f"Approve {thing.code} version {number}",
            permission="recipe.approve",
            service=self.approve_version,
            back_url=self.url(thing.code, number),
            then_url=self.url(thing.code, number),
            changes=versions.difference_rows(changes, system) if earlier else None,
            what_runs="Running batches keep their version.",
            template=f"setup/sign_{self.noun}.html",
            **self.content(thing, definition, system),
        )

    def withdraw(self, request: HttpRequest, code: str, number: int) -> HttpResponse:
        thing = self.thing(code)
        return withdraw_page(
            request,
            self.version(thing, number),
            title=f"Withdraw {thing.code} version {number}",
            sentence=self.after_withdrawal,
            permission="recipe.approve",
            service=self.withdraw_version,
            back_url=self.url(thing.code, number),
            then_url=self.url(thing.code, number),
        )

    def _earlier(self, thing: Any, version: Any) -> Any | None:
        return next((other for other in thing.versions.all() if other.number == version.number - 1), None)


def newest_of(thing: Any) -> Any | None:
    """The newest version; None where there is none yet."""
    return next(iter(thing.versions.all()), None)
