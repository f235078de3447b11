"""What can be done with a batch now, and why not: buttons with the sentence that closes them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.batches.resin_volumes import PARTING
from regenplant.batches.selectors.page import BatchPage, Work
from regenplant.core.process.lifecycle import BatchState, Offer, StepState
from regenplant.core.process.vocabulary import Leg, ResinFamily
from regenplant.web.presenters.bed import lower_first
from regenplant.web.presenters.words import clock


def why_not(offer: Offer | None) -> str:
    """The sentences of an offer that is closed; "" for an open one."""
    return " ".join(blocker.sentence for blocker in offer.blockers) if offer is not None else ""


def start_why(page: BatchPage, work: Work | None) -> str:
    """Why the batch, or this step, cannot start now. A batch that is ready starts together with its first step."""
    whole, step = page.offer("start"), work.offer("start") if work else None
    if whole is None:
        return why_not(step)
    found = list(whole.blockers)
    found += [blocker for blocker in (step.blockers if step else ()) if blocker.code not in _MEANT_LATER]
    return " ".join(dict.fromkeys(blocker.sentence for blocker in found))


_MEANT_LATER = ("batch_not_running", "not_allowed")


@dataclass(frozen=True, slots=True)
class OtherAct:
    """A way off the plan: its page, and why it is closed ("" when it is open)."""

    label: str
    page: str
    step: int | None
    why: str


def other_acts(page: BatchPage) -> tuple[OtherAct, ...]:
    """What is seldom done, in table order; skipping is offered for each step that can be worked on."""
    found = []
    for work in page.works if page.batch.started_at is not None else ():
        skip = work.offer("skip")
        if skip is not None:
            name = "this step" if len(page.works) == 1 else f"step {work.line.number}"
            found.append(OtherAct(f"Skip {name}", "batches-step-skip", work.line.number, why_not(skip)))
    for action, label in (("interrupt", "It stopped by itself"), ("abort", "Abort this batch")):
        offer = page.offer(action)
        if offer is not None:
            found.append(OtherAct(label, f"batches-{action}", None, why_not(offer)))
    return (*found, *_resin_acts(page))


def _resin_acts(page: BatchPage) -> tuple[OtherAct, ...]:
    """The store of resin: into the bed before it meets a chemical or is parted, and out of the vessel once the tanks are filled."""
    if page.batch.state == BatchState.FILLED:
        return (OtherAct("Keep what is left", "batches-keep-rest", None, ""),)
    line = page.current
    if page.batch.state != BatchState.RUNNING or line is None:
        return ()
    begun = [
        step
        for step in page.plan.steps
        if step.number < line.number or (step.number == line.number and line.state != StepState.WAITING)
    ]
    if any(step.chemical or step.kind in PARTING for step in begun):
        return ()
    return (OtherAct("Top up the bed", "batches-top-up", None, ""),)


def ending_acts(page: BatchPage) -> tuple[OtherAct, ...]:
    """What a failed or aborted batch waits for."""
    body = "carbon" if ResinFamily(page.batch.resin_type.family).is_exchanged else "resin"
    acts = (("rework", "Rework it"), ("scrap", f"Scrap the {body}"))
    offers = [(page.offer(action), action, label) for action, label in acts]
    return tuple(
        OtherAct(label, f"batches-{action}", None, why_not(offer)) for offer, action, label in offers if offer
    )


def then_words(page: BatchPage, work: Work, now: datetime) -> str:
    """ "At 14:23: displacement rinse", "Then: settle", "When both legs are done: join the legs", "" after the last step."""
    following, line = work.following_planned, work.line
    if following is None:
        return ""
    name = lower_first(following.name)
    if following.leg is Leg.WHOLE and _other_leg_is_open(page, work.leg):
        return f"When both legs are done: {name}"
    if line.state != StepState.RUNNING or line.left_s < 0 or page.hold is not None:
        return f"Then: {name}"
    return f"At {clock(now + timedelta(seconds=line.left_s))}: {name}"


def _other_leg_is_open(page: BatchPage, leg: Leg) -> bool:
    """Whether a step of the other leg is still to be done, so that the end of this leg says nothing about the next step."""
    if leg is Leg.WHOLE:
        return False
    others = [line for line in page.progress.steps if line.leg not in (Leg.WHOLE, leg)]
    return any(line.state in (StepState.WAITING, StepState.RUNNING) for line in others)


def only_end_open(offer: Offer | None) -> bool:
    """Whether nothing but the end of the step stands against finishing it: then it can be ended with a reason."""
    codes = {blocker.code for blocker in offer.blockers} if offer is not None else set()
    return codes == {"end_not_reached"}
