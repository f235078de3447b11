"""The parts of the design system as template tags. ``{% load parts %}``. The page ``/parts/`` shows all of them.

A part with content inside is a block: ``{% note tone="amber" symbol="held" %} … {% endnote %}``. Each part's
template in ``templates/components/`` opens with what it accepts. Numbers come in coherent SI with a kind of
``regenplant.units.KINDS`` and are shown in the reader's unit system.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import template
from django.forms import BaseForm, BoundField
from django.template import Context
from django.urls import reverse
from django.utils.html import conditional_escape, format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.text import slugify

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.drawing.rinse import RinseDown
from regenplant.drawing.rinse import rinse_chart as build_rinse_chart
from regenplant.drawing.scene import Scene
from regenplant.people.signing import needs_full_credentials
from regenplant.web.active_units import active
from regenplant.web.drawing.limit_bar import LimitBar
from regenplant.web.drawing.limit_bar import limit_bar as build_limit_bar
from regenplant.web.drawing.limit_bar import limit_text as build_limit_text
from regenplant.web.drawing.marks import mark_for
from regenplant.web.drawing.step_ruler import RulerStep
from regenplant.web.drawing.step_ruler import step_ruler as build_step_ruler
from regenplant.web.presenters.bed import lower_first
from regenplant.web.templatetags._fields import view_of
from regenplant.web.templatetags._working import source_text, working_of

register = template.Library()
register.filter("lower_first", lower_first)

PICTOGRAMS = {
    "GHS03": "flame over circle",
    "GHS05": "corrosion",
    "GHS07": "exclamation mark",
    "GHS09": "environment",
}
"""The GHS pictograms in the sprite and their names."""

SIGNAL_CLASSES = {
    SignalWord.DANGER: "danger",
    SignalWord.WARNING: "warning",
    SignalWord.CAUTION: "care",
    SignalWord.NOTICE: "notice",
}


def _system(context: Context) -> str:
    return str(context.get("unit_system") or active())


def _render(context: Context, name: str, values: Mapping[str, Any]) -> SafeString:
    """A component with only its own values and the csrf token, as an inclusion tag does it."""
    inner = context.new(dict(values))
    inner["csrf_token"] = context.get("csrf_token")
    inner["unit_system"] = _system(context)
    engine = context.template.engine  # type: ignore[union-attr]
    return engine.get_template(f"components/{name}.html").render(inner)


def _inside(content: str) -> str:
    """What stands inside a block, which is rendered and safe; nothing if it is blank."""
    return content if content.strip() else ""


_CODES = re.compile(r"\d{4}-\d\d-\d\d|\b[A-Z]{1,5}\d*(?:-[A-Z0-9]+)+\b")


@register.filter
def codes(text: str) -> SafeString:
    """Text in which numbers of batches, tanks and lots and days are never broken over two lines."""
    pieces: list[SafeString] = []
    end = 0
    for match in _CODES.finditer(text):
        pieces.append(format_html('{}<span class="nb">{}</span>', text[end : match.start()], match[0]))
        end = match.end()
    pieces.append(format_html("{}", text[end:]))
    return format_html_join("", "{}", ((piece,) for piece in pieces))


# --- marks ----------------------------------------------------------------------------------------------------------
@register.simple_tag
def glyph(name: str) -> SafeString:
    """A shape without a word, for a place that names it beside: ``{% glyph "held" %}``. Sprite or state name."""
    symbol = name if name in ("scan", "alert", "alertw") else mark_for(name).symbol
    return format_html(
        '<svg class="glyph" aria-hidden="true" viewBox="0 0 24 24"><use href="#m-{}"/></svg>', symbol
    )


@register.simple_tag
def mark(state: object, word: str = "", size: str = "") -> SafeString:
    """A state as shape and word: ``{% mark batch.state %}``, ``{% mark "running" word="Acid injection" size="big" %}``."""
    found = mark_for(state)
    classes = " ".join(filter(None, ("mark", f"is-{found.tone}" if found.tone else "", size)))
    return format_html(
        '<span class="{}"><svg aria-hidden="true" viewBox="0 0 24 24"><use href="#m-{}"/></svg><span>{}</span></span>',
        classes,
        found.symbol,
        word or found.word,
    )


# --- numbers --------------------------------------------------------------------------------------------------------
@register.inclusion_tag("components/limit_bar.html", takes_context=True)
def limit_bar(context: Context, bar: LimitBar | None = None, **values: Any) -> dict[str, Any]:
    """``{% limit_bar caption="Flow" value=v kind="flow" low=a high=b target=c expects="reach" %}``, or a ready ``bar``."""
    if bar is None:
        values.setdefault("system", _system(context))
        bar = build_limit_bar(**values)
    return {"bar": bar}


@register.simple_tag(takes_context=True)
def limit_text(
    context: Context, low: float | None, high: float | None, kind: str = "", unit: str = ""
) -> str:
    """The limits in words: ``{% limit_text entry.low entry.high entry.kind %}`` gives "60 to 73 L/min"."""
    return build_limit_text(low, high, kind=kind, unit=unit, system=_system(context))


@register.inclusion_tag("components/quantity.html", takes_context=True)
def quantity(
    context: Context,
    value: float | Estimate | None,
    kind: str = "",
    basis: str = "",
    size: str = "",
    word: str = "",
    working: bool = False,
) -> dict[str, Any]:
    """A value large, its unit, the other unit, its basis: ``{% quantity plan.volume working=True %}``.

    ``value`` is an ``Estimate`` (which knows its kind) or an SI float with ``kind``. ``size``: "xl", "m", "s".
    """
    system = _system(context)
    estimate = value if isinstance(value, Estimate) else None
    number = estimate.value if estimate else value
    kind = kind or (estimate.kind if estimate else "")
    assert not isinstance(number, Estimate)
    return {
        "value_text": units.format_quantity(number, kind, system, with_unit=False),
        "unit": word or units.unit_text(kind, system),
        "other": units.other_system(number, kind, system) if number is not None else "",
        "basis": basis,
        "size": size,
        "estimate": estimate if working else None,
        "unit_system": system,
    }


@register.inclusion_tag("components/working.html", takes_context=True)
def working(context: Context, estimate: Estimate, word: str = "", is_open: bool = False) -> dict[str, Any]:
    """The working one tap away: ``{% working step.figures.volume_m3 word="how 3 322 L was found" %}``."""
    return {"working": working_of(estimate, _system(context)), "word": word, "is_open": is_open}


@register.inclusion_tag("components/kv.html")
def kv(rows: Iterable[tuple[str, Any]], folds: bool = False) -> dict[str, Any]:
    """Terms and what they are: ``{% kv rows %}`` with (term, value) pairs."""
    return {"rows": rows, "folds": folds}


# --- steps ----------------------------------------------------------------------------------------------------------
@register.inclusion_tag("components/step_ruler.html")
def step_ruler(
    steps: Sequence[RulerStep], left: str = "", right: str = "", middle: str = ""
) -> dict[str, Any]:
    """The ruler of planned minutes with up to three words under it. ``steps`` are ``RulerStep``s."""
    return {"scene": build_step_ruler(steps), "left": left, "middle": middle, "right": right}


@register.inclusion_tag("components/steps.html")
def step_list(steps: Iterable[Any], labelled_by: str = "") -> dict[str, Any]:
    """The list of steps: each has name, state, note, is_hand, time, is_here and may have a url."""
    return {"steps": steps, "labelled_by": labelled_by}


@register.simple_block_tag(takes_context=True)
def step_card(
    context: Context,
    content: str,
    name: str,
    state: object = "running",
    number: int | None = None,
    word: str = "",
    do: str = "",
    left: str = "",
    left_unit: str = "",
    left_alt: str = "",
    level: int = 2,
) -> SafeString:
    """One step: ``{% step_card name=… number=4 state=step.state word="Running since 13:33" do=… left="0:18" %} … {% endstep_card %}``."""
    key = str(getattr(state, "value", state))
    values = {
        "content": _inside(content),
        "name": name,
        "number": number,
        "state": key,
        "word": word,
        "do": do,
        "left": left,
        "left_unit": left_unit,
        "left_alt": left_alt,
        "level": level,
        "css": {"waiting": "wait", "done": "done", "skipped": "done", "held": "held", "overdue": "late"}.get(
            key, ""
        ),
        "heading_id": f"step-{number or slugify(name)}-{key}",
    }
    return _render(context, "step_card", values)


# --- fields ---------------------------------------------------------------------------------------------------------
@register.inclusion_tag("components/field.html", takes_context=True)
def field(context: Context, bound: BoundField, **values: Any) -> dict[str, Any]:
    """One field of a form: ``{% field form.flow last="65.8 L/min at 13:50" low=spec.low high=spec.high %}``.

    A form field with an attribute ``kind`` (or ``kind=`` here) is a number field: it shows what was understood.
    """
    shown = view_of(bound, system=_system(context), understand_url=reverse("understand"), **values)
    return {"field": shown}


@register.inclusion_tag("components/form_errors.html")
def form_errors(form: BaseForm) -> dict[str, Any]:
    """What is wrong with the form as a whole; nothing when nothing is."""
    return {"form": form}


@dataclass(frozen=True, slots=True)
class PadStop:
    """One field the pad writes into: its id, its name, its unit keys, and the unit put behind a bare number, "" for none."""

    id: str
    name: str = ""
    units: tuple[str, ...] = ()
    last_unit: str = ""


@register.inclusion_tag("components/pad.html")
def pad(field_id: str, word: str = "Write it down", unit_keys: str = "") -> dict[str, Any]:
    """The number pad for one field, shown by the script: ``{% pad form.flow.id_for_label unit_keys="L/min gpm" %}``."""
    return {"stops": [PadStop(field_id, units=tuple(unit_keys.split()))], "word": word, "has_next": False}


@register.inclusion_tag("components/pad.html")
def pad_for(stops: Sequence[PadStop], word: str = "Write it down") -> dict[str, Any]:
    """One pad for several fields in turn: ``{% pad_for stops %}``."""
    return {"stops": stops, "word": word, "has_next": len(stops) > 1}


@register.inclusion_tag("components/scan_box.html")
def scan_box(field_id: str = "scan", value: str = "", answer: str = "") -> dict[str, Any]:
    """The scan box; base.html has one on every page."""
    return {"field_id": field_id, "value": value, "answer": answer}


# --- notes on the page ----------------------------------------------------------------------------------------------
@register.simple_block_tag(takes_context=True)
def section(context: Context, content: str, title: str = "", note: str = "", ident: str = "") -> SafeString:
    """A section hung on the margin: ``{% section "Wrong" "2 need a person" %} … {% endsection %}``."""
    values = {"content": content, "title": title, "note": note, "heading_id": ident or f"s-{slugify(title)}"}
    return _render(context, "section", values)


@register.simple_block_tag(takes_context=True)
def page_title(context: Context, content: str, title: str, sentence: str = "") -> SafeString:
    """The page's name and its state in one sentence; what stands inside is put at the right (a figure, buttons)."""
    return _render(context, "page_title", {"content": _inside(content), "title": title, "sentence": sentence})


@register.simple_block_tag(takes_context=True)
def note(
    context: Context, content: str, tone: str = "", symbol: str = "check", url: str = "", action: str = ""
) -> SafeString:
    """What is wrong or must be known: ``{% note tone="amber" symbol="held" url=… action="Open B-10411" %} … {% endnote %}``."""
    return _render(
        context, "note", {"content": content, "tone": tone, "symbol": symbol, "url": url, "action": action}
    )


@register.simple_block_tag(takes_context=True)
def receipt(context: Context, content: str, url: str = "", action: str = "Correct it") -> SafeString:
    """That something was written, where the work is: ``{% receipt url=… %}Written: flow 66.6 L/min …{% endreceipt %}``."""
    return _render(context, "receipt", {"content": content, "url": url, "action": action})


@register.inclusion_tag("components/empty.html")
def empty_state(sentence: str, url: str = "", action: str = "") -> dict[str, Any]:
    """Nothing here: what is missing and when it changes."""
    return {"sentence": sentence, "url": url, "action": action}


@register.inclusion_tag("components/filter_chips.html")
def filter_chips(chips: Iterable[Any], label: str = "Show") -> dict[str, Any]:
    """Filters by state: each chip has label, url, is_current and may have count and mark (a state)."""
    return {"chips": chips, "label": label}


@register.inclusion_tag("components/caution.html")
def caution(
    caution: Caution, slim: bool = False, source: str = "", url: str = "", action: str = "Data sheet, spill"
) -> dict[str, Any]:
    """A safety panel: ``{% caution step_caution slim=True url=sds_url %}``. ``source`` replaces the cited one."""
    return {
        "caution": caution,
        # who decides stands once, in the source line of the panel
        "measures": [measure for measure in caution.measures if measure != AUTHORITY],
        "slim": slim,
        "css": SIGNAL_CLASSES[caution.signal],
        "signal": caution.signal.value.upper(),
        "pictograms": [(code, PICTOGRAMS[code]) for code in caution.pictograms if code in PICTOGRAMS],
        "codes": [code for code in caution.pictograms if code not in PICTOGRAMS],
        "source": source or source_text(caution.source),
        "url": url,
        "action": action,
    }


@register.simple_block_tag(takes_context=True)
def signature(
    context: Context,
    content: str,
    title: str,
    sentence: str,
    person: str,
    meaning: str,
    role: str = "",
    at: datetime | None = None,
    form: BaseForm | None = None,
    url: str = "",
    button: str = "Sign",
    cancel_url: str = "",
    refused: str = "",
    allowed: str = "",
) -> SafeString:
    """A signature: what is signed, the facts inside, the form with the password, the line, the meaning.

    ``refused`` is the sentence why this person may not sign (no form is shown then); ``allowed`` why they may. The user
    name is asked for when the session has not signed yet, or not for a while.
    """
    request = context.get("request")
    asks_name = request is not None and needs_full_credentials(request)
    values = {
        "content": _inside(content),
        "title": title,
        "sentence": sentence,
        "person": person,
        "role": role,
        "meaning": meaning,
        "at": at,
        "form": form,
        "fields": _signing_fields(form, asks_name=asks_name) if form is not None else [],
        "asks_name": asks_name,
        "url": url,
        "button": button,
        "cancel_url": cancel_url,
        "refused": refused,
        "allowed": allowed,
        "heading_id": f"sign-{slugify(title)}",
        "username": getattr(context.get("user"), "username", ""),
    }
    return _render(context, "signature", values)


def _signing_fields(form: BaseForm, *, asks_name: bool) -> list[BoundField]:
    """What the signer fills in; the user name only when it is asked for."""
    return [bound for bound in form.visible_fields() if asks_name or bound.name != "username"]


# --- drawings -------------------------------------------------------------------------------------------------------
@register.simple_tag
def drawing(scene: Scene) -> SafeString:
    """A ready scene as SVG: ``{% drawing page.vessels %}``."""
    return scene.to_svg()


@register.inclusion_tag("components/rinse_chart.html", takes_context=True)
def rinse_chart(
    context: Context,
    rinse: RinseDown,
    height: int = 430,
    near: bool = True,
    table: bool = True,
    ident: str = "",
) -> dict[str, Any]:
    """The rinse-down, whole and near the limit, its key, and the same as a table: ``{% rinse_chart page.rinse %}``."""
    chart = build_rinse_chart(rinse, system=_system(context), height=height)
    return {"chart": chart, "near": near and chart.near is not None, "table": table, "ident": ident}


@register.inclusion_tag("components/chart.html")
def chart(scene: Scene, caption: str = "") -> dict[str, Any]:
    """A scene with numbers at its axes, in a figure with its caption: ``{% chart page.doses "g per litre of resin" %}``."""
    return {"scene": scene, "caption": caption}


@register.inclusion_tag("components/lanes.html")
def lanes(scene: Scene, label: str = "Vessel chart") -> dict[str, Any]:
    """The vessel lanes in their scroll region with their key: ``{% lanes page.vessels %}``."""
    return {"scene": scene, "label": label}


@register.inclusion_tag("components/ancestry.html")
def ancestry(scene: Scene) -> dict[str, Any]:
    """The ancestry of a resin lot in its scroll region: ``{% ancestry page.ancestry %}``."""
    return {"scene": scene}


@register.simple_tag
def cells(row: Any) -> SafeString:
    """The cells of one row of a listing. What a column says of its cells alone is worked out once for the table: a long listing
    is mostly that."""
    kept: dict[str, SafeString] = row.table.__dict__.setdefault("cell_attributes", {})
    made = []
    for column, cell in row.items():
        own = kept.get(column.name)
        if own is None:
            own = kept[column.name] = column.attrs["td"].as_html()
            column.render = _with_signature(column.render)
        made.append(f"<td {own}>{conditional_escape(cell)}</td>")
    return SafeString("".join(made))


def _with_signature(render: Callable[..., Any]) -> Callable[..., Any]:
    """The library asks at every cell which arguments the column's ``render`` takes: of a bound method that is as much work as
    most cells are."""

    def known(**given: Any) -> Any:
        return render(**given)

    known.__signature__ = inspect.signature(render)  # type: ignore[attr-defined]
    return known
