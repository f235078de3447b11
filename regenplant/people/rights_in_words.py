"""Each right in plain words, for the matrix page: what a person who holds it may do.

A right without a sentence fails a house test: nobody gives what nobody can read.
"""

from __future__ import annotations

TITLES: dict[str, str] = {
    "tank.receive": "Receive tanks at the dock.",
    "tank.judge": "Look at a received tank, accept it to a class or refuse it.",
    "tank.hold": "Hold a received tank.",
    "tank.lift_hold": "Take a held tank off hold.",
    "tank.ship": "Ship released tanks to their customer.",
    "tank.disposition": "Let suspect or metal-bearing resin into a batch, in writing.",
    "tank.edit": "Add tanks and tank sizes, and change what is written about them.",
    "customer.edit": "Add customers and their sites.",
    "batch.plan": "Plan a batch and freeze its plan.",
    "batch.run": "Run a batch: start and finish its steps, empty, fill and set aside its tanks.",
    "batch.hold": "Hold or interrupt a running batch.",
    "batch.abort": "Abort a batch for good.",
    "batch.rework": "Plan the rework of a failed batch.",
    "batch.rework_again": "Be the second of two people who let a resin be reworked after its third failure.",
    "batch.scrap": "Scrap the resin of a batch.",
    "batch.downgrade": "Agree, as the second person, that a batch goes down to a lower product.",
    "batch.release": "Release a batch and its tanks that another person ran, with a signature.",
    "batch.review": "Review the whole record of a batch that other people ran, with a signature.",
    "batch.reopen": "Open a signed record for correction, with a reason and a signature.",
    "batch.copy": "Make a complete copy of a batch record to hand out.",
    "step.skip": "Skip a step, or end it before its end is reached.",
    "entry.record": "Write down and correct the entries of a step.",
    "entry.check": "Check an entry or a reading of another person, as a second person with a password of one’s own.",
    "entry.waive": "Say that an entry the plan always asks for does not apply.",
    "reading.record": "Write down and correct the readings of a rinse.",
    "deviation.open": "Write down that something was not as planned.",
    "deviation.assign": "Say who looks into a deviation, and by when.",
    "deviation.describe": "Write what was done at once about a deviation, and what caused it.",
    "deviation.close": "Decide a deviation that another person wrote down.",
    "qc.record": "Measure the QC sample and correct a result.",
    "qc.judge": "Pass or fail a batch that another person ran, with a signature.",
    "qc.keep_sample": "Write down a retained sample of a batch.",
    "qc.discard_sample": "Discard a retained sample, with a reason.",
    "chemical.receive": "Receive a delivery of chemical.",
    "chemical.check": "Check the strength of a lot and put it in use.",
    "chemical.correct": "Count stock and correct movements of chemical.",
    "chemical.audit": "Compare what was used with what was planned.",
    "chemical.data_sheet": "Add and withdraw safety data sheets.",
    "plant.edit": "Change vessels, skids, instruments, places and the plant’s profile.",
    "plant.lock_out": "Lock out a vessel or skid, and lift one’s own lock.",
    "plant.lift_lock_of_another": "Lift a lock that another person set.",
    "plant.daily": "Write down the daily checks: eyewash, waters, waste level.",
    "instrument.calibrate": "Write down a calibration, and correct one.",
    "instrument.take_out": "Take an instrument out of service.",
    "instrument.look_at_impact": "Say what a failed calibration means for what was measured before it.",
    "resin.mix": "Mix resin lots.",
    "resin.edit": "Add resin types and lots, scrap lots.",
    "resin.test": "Write down what a laboratory found in a sample of resin, and correct it.",
    "resin.look": "Write down what was seen on a resin lot, and quick tests.",
    "resin.capacity": "Set the capacity factor of a resin lot that plans count with.",
    "recipe.edit": "Draft recipes and specifications.",
    "recipe.approve": "Approve or withdraw a recipe or specification that another person drafted.",
    "record.seal": "Take rows of the record over as they stand, after a migration or a repair.",
    "people.edit": "Add people, give and take roles, close accounts, give one-time passwords.",
    "authority.edit": "Draft this matrix and set the time-outs.",
    "authority.approve": "Approve a draft of this matrix that another person wrote, with a signature.",
    "alert.acknowledge": "Answer alerts, such as a locked account.",
    "certificate.issue": "Issue a certificate of quality for released tanks, and withdraw one.",
    "paper.issue": "Print papers and tags.",
    "form.issue": "Issue numbered paper forms, empty or for an open batch.",
    "form.transcribe": "Enter a filled paper form, with its scan and a signature.",
    "form.confirm": "Compare what another person entered with the scan of the form, with a signature.",
    "form.close": "Say that an issued form is spoiled or missing.",
    "limits.edit": "Draft a version of the plant’s limits.",
    "limits.approve": "Approve a draft of the plant’s limits that another person wrote.",
    "retention.edit": "Draft a version of the rules for how long records are kept.",
    "retention.approve": "Approve a draft of these rules that another person wrote.",
    "retention.hold": "Place a legal hold on records, and lift one.",
    "retention.purge": "Purge the record of a batch past its period, or confirm that another purges it; both sign.",
    "trend.look": "Look at a lot that takes more rinse than it did, and say what follows.",
    "shift.hand_over": "Hand a shift over and take one over, with a signature; open and close its open items.",
}

THINGS: dict[str, str] = {
    "tank": "Tanks",
    "customer": "Customers",
    "batch": "Batches",
    "step": "Steps",
    "entry": "Entries",
    "reading": "Readings",
    "deviation": "Deviations",
    "qc": "Quality control",
    "certificate": "Certificates of quality",
    "chemical": "Chemicals",
    "plant": "Plant",
    "limits": "Plant limits",
    "instrument": "Instruments",
    "resin": "Resin",
    "recipe": "Recipes, specifications",
    "people": "People",
    "authority": "Authority",
    "alert": "Alerts",
    "paper": "Papers",
    "record": "Records",
    "form": "Paper forms",
    "retention": "Retention",
    "shift": "Shifts",
    "trend": "Trends",
}
"""How the things read as headings."""


def title_of(permission: str) -> str:
    """The right in words; a right without a sentence reads as its name."""
    return TITLES.get(permission, permission)


def thing_of(permission: str) -> str:
    """The heading a right stands under."""
    thing = permission.partition(".")[0]
    return THINGS.get(thing, thing.replace("_", " ").capitalize())
