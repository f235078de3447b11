"""Which right each address takes before anything sent to it is looked at; what has no line here is open to be looked at only.

The service behind an address asks for its right again, and more exactly. This table is the door in front: whoever lacks
the right is refused whatever was sent. A house test fails for an address that takes a POST and has no line.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from regenplant.batches.models import Batch, Deviation
from regenplant.people.authority import EVERY_CLASS
from regenplant.people.models import Person
from regenplant.quality.models import RetainedSample
from regenplant.tanks.models import Tank, TankVisit


@dataclass(frozen=True, slots=True)
class Door:
    """Any one of ``rights`` opens it; ``about`` says what the address names, so that its segregation class is found."""

    rights: tuple[str, ...]
    about: str = ""


def _door(*rights: str, about: str = "") -> Door:
    return Door(rights, about)


DOORS: dict[str, Door] = {
    # intake and tanks
    "intake-receive": _door("tank.receive", about="tank"),
    "intake-unknown": _door("tank.receive"),
    "intake-look": _door("tank.judge", about="visit"),
    "intake-verdict": _door("tank.judge", "tank.hold", "tank.lift_hold", "tank.disposition", about="visit"),
    "expected-tanks-new": _door("tank.expect"),
    "expected-tanks-change": _door("tank.expect"),
    "expected-tanks-call-off": _door("tank.expect"),
    "tanks-new": _door("tank.edit"),
    "tanks-change": _door("tank.edit", about="tank"),
    "tanks-shell": _door("batch.run", about="tank"),
    "tanks-ship": _door("tank.ship", about="tank"),
    "tanks-withdraw": _door("tank.hold", about="tank"),
    "tanks-put-back": _door("tank.lift_hold", about="tank"),
    "tanks-discard": _door("batch.scrap", about="tank"),
    "customers-new": _door("customer.edit"),
    "customers-site": _door("customer.edit"),
    "customers-rush": _door("customer.edit"),
    "customers-rush-end": _door("customer.edit"),
    # batches
    "start": _door("batch.plan"),
    # the day plan
    "day-plan-new": _door("day_plan.make"),
    "day-plan-stop": _door("day_plan.make"),
    "day-plan-set-aside": _door("day_plan.make"),
    "day-plan-undo": _door("day_plan.make"),
    "day-plan-figures": _door("day_plan.figures"),
    "day-plan-copy": _door("day_plan.make"),
    "day-plan-accept": _door("day_plan.accept"),
    "planned-batch-cancel": _door("day_plan.accept"),
    "day-plan-pin": _door("day_plan.make"),
    "day-plan-split": _door("day_plan.make"),
    "day-plan-join": _door("day_plan.make"),
    "day-plan-leave-out": _door("day_plan.make"),
    "day-plan-rush": _door("day_plan.make"),
    "day-plan-several": _door("day_plan.make"),
    "day-plan-help": _door("day_plan.make"),
    "batches-start": _door("batch.run", about="batch"),
    "batches-step-start": _door("batch.run", about="batch"),
    "batches-step-finish": _door("batch.run", about="batch"),
    "batches-step-end-early": _door("step.skip", about="batch"),
    "batches-step-skip": _door("step.skip", about="batch"),
    "batches-entry": _door("entry.record", about="batch"),
    "batches-ticks": _door("entry.record", about="batch"),
    "batches-entry-correct": _door("entry.record", about="batch"),
    "batches-entry-leave": _door("entry.record", about="batch"),
    "batches-entry-together": _door("entry.record", about="batch"),
    "batches-check": _door("entry.check", "entry.record", about="batch"),
    "waste-route": _door("step.route", about="batch"),
    "waste-site": _door("site.determine"),
    "waste-read": _door("plant.daily"),
    "waste-treat": _door("waste.treat"),
    "waste-take-away": _door("waste.take_away"),
    "waste-switch": _door("waste.switch"),
    "batches-hold": _door("batch.hold", about="batch"),
    "batches-interrupt": _door("batch.hold", about="batch"),
    "batches-resume": _door("batch.run", about="batch"),
    "batches-abort": _door("batch.abort", about="batch"),
    "batches-rework": _door("batch.rework", about="batch"),
    "batches-scrap": _door("batch.scrap", about="batch"),
    "batches-deviation": _door("deviation.open", about="batch"),
    "batches-top-up": _door("batch.run", about="batch"),
    "batches-keep-rest": _door("batch.run", about="batch"),
    "batches-fill-finish": _door("batch.run", about="batch"),
    "batches-fill-tank": _door("batch.run", about="batch"),
    "rinse": _door("reading.record", about="batch"),
    "rinse-correct": _door("reading.record", about="batch"),
    "rinse-log": _door("reading.record", about="batch"),
    "rinse-log-aside": _door("reading.record", about="batch"),
    # quality
    "qc-decision": _door("qc.judge", about="batch"),
    "qc-measure": _door("qc.record", about="batch"),
    "qc-correct": _door("qc.record", about="batch"),
    "qc-release": _door("batch.release", about="batch"),
    "qc-continue": _door("qc.judge", about="batch"),
    "qc-downgrade": _door("qc.judge", about="batch"),
    "qc-sample": _door("qc.keep_sample", about="batch"),
    "samples-discard": _door("qc.discard_sample", about="sample"),
    "certificates-new": _door("certificate.issue"),
    "certificate-withdraw": _door("certificate.issue"),
    "review-batch": _door("batch.review", about="batch"),
    "review-reopen": _door("batch.reopen", about="batch"),
    "deviations-detail": _door("deviation.close", about="deviation"),
    "deviations-assign": _door("deviation.assign", about="deviation"),
    "deviations-describe": _door("deviation.describe", about="deviation"),
    "deviations-follow": _door("deviation.open", about="deviation"),
    # chemicals
    "chemicals-receive": _door("chemical.receive"),
    "chemicals-lot-check": _door("chemical.check"),
    "chemicals-lot-use": _door("chemical.check"),
    "chemicals-lot-sheet": _door("chemical.data_sheet"),
    "chemicals-lot-expiry": _door("chemical.correct"),
    "chemicals-movement-correct": _door("chemical.correct"),
    "chemicals-place-new": _door("plant.edit"),
    "chemicals-place": _door("plant.edit"),
    "chemicals-place-connection": _door("plant.edit"),
    "chemicals-unloading-new": _door("chemical.receive"),
    "chemicals-unloading-sample": _door("chemical.check"),
    "chemicals-unloading-scan": _door("chemical.receive"),
    "chemicals-unloading-unlock": _door("chemical.receive"),
    "chemicals-unloading-answer": _door("chemical.correct"),
    "chemicals-expected-new": _door("chemical.receive"),
    "chemicals-expected-change": _door("chemical.receive"),
    "chemicals-expected-call-off": _door("chemical.receive"),
    "chemicals-expected-came": _door("chemical.receive"),
    "chemicals-unloading-weigh": _door("chemical.receive"),
    "chemicals-unloading-weigh-answer": _door("chemical.correct"),
    "chemicals-place-count": _door("chemical.count"),
    "chemicals-storage-new": _door("chemical.store"),
    "chemicals-storage-area": _door("chemical.store"),
    "chemicals-place-area": _door("chemical.store"),
    "chemicals-threshold": _door("chemical.threshold"),
    "chemicals-spill-new": _door("spill.record"),
    "chemicals-spill-again": _door("spill.record"),
    "chemicals-spill-note": _door("spill.record"),
    "chemicals-spill-close": _door("spill.close"),
    "chemicals-place-level": _door("chemical.count"),
    "chemicals-place-shape": _door("plant.edit"),
    "chemicals-count-book": _door("chemical.correct"),
    "chemicals-sheet-new": _door("chemical.data_sheet"),
    "chemicals-sheet-withdraw": _door("chemical.data_sheet"),
    # safety
    "safety-near-miss-answer": _door("near_miss.answer"),
    "safety-near-miss-close": _door("near_miss.answer"),
    "safety-refused-left": _door("tank.let_go", about="visit"),
    "safety-washing-round": _door("plant.daily"),
    "safety-washing-new": _door("plant.edit"),
    "safety-washing-change": _door("plant.edit"),
    "safety-washing-inspect": _door("plant.daily"),
    "use-price-new": _door("chemical.price"),
    "use-watch-levels": _door("chemical.watch"),
    "use-watch-measure": _door("chemical.watch"),
    "use-report-new": _door("chemical.report"),
    # set-up
    "emergency-eyewash": _door("plant.daily"),
    "setup-plant-change": _door("plant.edit"),
    "setup-plant-feed": _door("plant.edit"),
    "setup-plant-feed-remove": _door("plant.edit"),
    # waste and sewer
    "waste-discharge-new": _door("discharge.record"),
    "waste-discharge-mixing": _door("discharge.record"),
    "waste-discharge-read": _door("discharge.record"),
    "waste-discharge-release": _door("discharge.release"),
    "waste-discharge-close": _door("discharge.record"),
    "waste-discharge-give-up": _door("discharge.record"),
    "waste-excursion-new": _door("excursion.report"),
    "waste-excursion-follow": _door("excursion.report"),
    "waste-excursion-close": _door("excursion.close"),
    "waste-report-sign": _door("discharge.report"),
    "setup-permit-draft": _door("permit.edit"),
    "setup-permit-approve": _door("permit.approve"),
    "setup-permit-withdraw": _door("permit.approve"),
    "setup-drains-draft": _door("drains.edit"),
    "setup-drains-approve": _door("drains.approve"),
    "setup-drains-withdraw": _door("drains.approve"),
    "setup-limits-draft": _door("limits.edit"),
    "setup-limits-approve": _door("limits.approve"),
    "setup-limits-withdraw": _door("limits.approve"),
    "setup-entry-checks": _door("plant.edit"),
    "setup-vessel-new": _door("plant.edit"),
    "setup-vessel-change": _door("plant.edit"),
    "setup-vessel-lock-out": _door("plant.lock_out"),
    "setup-vessel-lift": _door("plant.lock_out", "plant.lift_lock_of_another"),
    "setup-vessel-clean-down": _door("batch.run"),
    "setup-skid-new": _door("plant.edit"),
    "setup-skid": _door("plant.edit"),
    "setup-skid-lock-out": _door("plant.lock_out"),
    "setup-skid-lift": _door("plant.lock_out"),
    "setup-water": _door("plant.daily"),
    "setup-waste-new": _door("plant.edit"),
    "setup-waste": _door("plant.edit"),
    "setup-waste-level": _door("plant.daily"),
    "setup-instrument-new": _door("plant.edit"),
    "setup-instrument-change": _door("plant.edit"),
    "setup-instrument-calibration": _door("instrument.calibrate"),
    "setup-meter-feed-new": _door("plant.edit"),
    "setup-meter-feed-change": _door("plant.edit"),
    "setup-meter-feed-renew": _door("plant.edit"),
    "setup-meter-feed-revoke": _door("plant.edit"),
    "setup-meter-feed-close": _door("plant.edit"),
    "setup-meter-feed-open": _door("plant.edit"),
    "setup-instrument-calibration-correct": _door("instrument.calibrate"),
    "setup-instrument-out": _door("instrument.take_out"),
    "setup-instrument-look": _door("instrument.look_at_impact"),
    "setup-terminal-name": _door("plant.edit"),
    "setup-terminal-retire": _door("plant.edit"),
    "setup-resin-new": _door("resin.edit"),
    "setup-resin-change": _door("resin.edit"),
    "setup-lot-new": _door("resin.edit"),
    "setup-lot-scrap": _door("resin.edit"),
    "resin-ageing-sample": _door("resin.test"),
    "resin-ageing-correct": _door("resin.test"),
    "resin-ageing-look": _door("resin.look"),
    "resin-ageing-capacity": _door("resin.capacity"),
    "setup-lot-mix": _door("resin.mix"),
    "setup-lot-top-up": _door("resin.mix"),
    "setup-lot-split": _door("resin.mix"),
    "setup-lot-count": _door("resin.mix"),
    "setup-lot-conditioned": _door("resin.mix"),
    "setup-recipe-new": _door("recipe.edit"),
    "setup-recipe-draft": _door("recipe.edit"),
    "setup-recipe-approve": _door("recipe.approve"),
    "setup-recipe-withdraw": _door("recipe.approve"),
    "setup-product-new": _door("recipe.edit"),
    "setup-product-change": _door("recipe.edit"),
    "setup-product-customer": _door("recipe.approve"),
    "setup-product-customer-end": _door("recipe.approve"),
    "setup-specification-new": _door("recipe.edit"),
    "setup-specification-draft": _door("recipe.edit"),
    "setup-specification-approve": _door("recipe.approve"),
    "setup-specification-withdraw": _door("recipe.approve"),
    # people and authority
    "setup-person-new": _door("people.edit"),
    "setup-person-rename": _door("people.edit"),
    "setup-person-roles": _door("people.edit"),
    "setup-person-password": _door("people.edit"),
    "setup-person-deactivate": _door("people.edit"),
    "setup-person-reactivate": _door("people.edit"),
    "authority-draft": _door("authority.edit"),
    "authority-approve": _door("authority.approve"),
    "authority-withdraw": _door("authority.approve"),
    "authority-take-back": _door("authority.edit"),
    "authority-times": _door("authority.edit"),
    "alerts-answer": _door("alert.acknowledge"),
    "trends-look": _door("trend.look"),
    # retention
    "retention-draft": _door("retention.edit"),
    "retention-approve": _door("retention.approve"),
    "retention-withdraw": _door("retention.approve"),
    "retention-hold": _door("retention.hold"),
    "retention-lift": _door("retention.hold"),
    # shifts and paper forms
    "handover": _door("shift.hand_over"),
    "handover-one": _door("shift.hand_over"),
    "handover-item-new": _door("shift.hand_over"),
    "handover-item-close": _door("shift.hand_over"),
    "paper-forms-issue": _door("form.issue"),
    "paper-forms-form": _door("form.transcribe", "form.confirm"),
    "paper-forms-take": _door("form.transcribe"),
    "paper-forms-go-on": _door("form.transcribe"),
    "paper-forms-scan": _door("form.transcribe"),
    "paper-forms-back": _door("form.confirm"),
    "paper-forms-close": _door("form.close"),
    # copies, and how long records are kept
    "batches-copy": _door("batch.copy", about="batch"),
    "retention-purge": _door("retention.purge"),
}
"""By name of address."""

OPEN: dict[str, str] = {
    "sign-in": "Nobody is signed in yet.",
    "sign-out": "Everybody may leave.",
    "preferences": "A person’s own screen.",
    "password": "A person’s own password.",
    "chemicals-unloading-stop": "Whoever sees that something is wrong stops a delivery.",
    "safety-near-miss-new": "Whoever sees a near miss tells it.",
    "paper-forms-leave": "Ends one’s own transcribing; writes nothing.",
    "copies-read": "Reads a copy that was handed over; writes nothing.",
    "review-chain": "Looks at the record; writes only that somebody looked, and what came of it.",
}
"""Addresses that take a POST from everybody who is signed in, with the reason."""


def _class_of(about: str, places: Mapping[str, Any]) -> Iterable[str]:
    """The segregation class of what an address names; none when it is not known (the view then says so)."""
    number, serial = places.get("number", ""), places.get("serial", "")
    if about == "batch":
        return Batch.objects.filter(number=number).values_list("segregation_class", flat=True)
    if about == "deviation":
        return Deviation.objects.filter(number=number).values_list("batch__segregation_class", flat=True)
    if about == "sample":
        return RetainedSample.objects.filter(number=number).values_list("batch__segregation_class", flat=True)
    if about == "tank":
        return Tank.objects.filter(serial=serial).values_list("segregation_class", flat=True)
    rows = TankVisit.objects.filter(number=number).values_list("segregation_class", "tank__segregation_class")
    return [own or of_tank for own, of_tank in rows]


def is_open_to(person: Person, name: str, places: Mapping[str, Any]) -> bool:
    """Whether this person may send something to the address ``name`` with these values in its places."""
    door = DOORS.get(name)
    if door is None or any(person.may(right, EVERY_CLASS) for right in door.rights):
        return not (person.is_shared or person.is_device) or name in OPEN
    classes = [found for found in _class_of(door.about, places) if found] if door.about else []
    return any(person.may(right, item) for right in door.rights for item in classes or [""])
