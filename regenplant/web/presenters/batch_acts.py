"""What can be done with a batch now, and why not: buttons with the sentence that closes them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.batches.selectors.page import BatchPage
from regenplant.core.process.lifecycle import Offer, StepState
from regenplant.web.presenters.bed import lower_first
from regenplant.web.presenters.words import clock


def why_not(offer: Offer | None) -> str:
    """The sentences of an offer that is closed; "" for an open one."""
    return " ".join(blocker.sentence for blocker in offer.blockers) if offer is not None else ""


def start_why(page: BatchPage) -> str:
    """Why the batch, or its next step, cannot start now. A batch that is ready starts together with its first step."""
    whole, step = page.offer("start"), page.step_offer("start")
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
    """What is seldom done, in table order."""
    found = []
    skip = page.step_offer("skip")
    if skip is not None and page.current is not None and page.batch.started_at is not None:
        found.append(OtherAct("Skip this step", "batches-step-skip", page.current.number, why_not(skip)))
    for action, label in (("interrupt", "It stopped by itself"), ("abort", "Abort this batch")):
        offer = page.offer(action)
        if offer is not None:
            found.append(OtherAct(label, f"batches-{action}", None, why_not(offer)))
    return tuple(found)


def ending_acts(page: BatchPage) -> tuple[OtherAct, ...]:
    """What a failed or aborted batch waits for."""
    acts = (("rework", "Rework it"), ("scrap", "Scrap the resin"))
    offers = [(page.offer(action), action, label) for action, label in acts]
    return tuple(
        OtherAct(label, f"batches-{action}", None, why_not(offer)) for offer, action, label in offers if offer
    )


def then_words(page: BatchPage, now: datetime) -> str:
    """ "At 14:23: displacement rinse", "Then: settle", "" after the last step."""
    following, current = page.following_planned, page.current
    if following is None or current is None:
        return ""
    name = lower_first(following.name)
    if current.state != StepState.RUNNING or current.left_s < 0 or page.hold is not None:
        return f"Then: {name}"
    return f"At {clock(now + timedelta(seconds=current.left_s))}: {name}"


def only_end_open(offer: Offer | None) -> bool:
    """Whether nothing but the end of the step stands against finishing it: then it can be ended with a reason."""
    codes = {blocker.code for blocker in offer.blockers} if offer is not None else set()
    return codes == {"end_not_reached"}
