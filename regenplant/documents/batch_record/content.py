"""What a batch record says, as frozen data: everything that was done with one batch, with what stood there before."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.process.canonical import canonical_text, digest
from regenplant.documents.issue import Issue
from regenplant.keeping.nothing import Nothing


@dataclass(frozen=True, slots=True)
class Figure:
    """A planned figure: ``value`` in SI, ``unit`` its SI unit where it is of no known kind."""

    name: str
    value: float
    kind: str
    unit: str


@dataclass(frozen=True, slots=True)
class Range:
    """What was allowed; ``target`` is what was planned. SI."""

    kind: str
    low: float | None = None
    high: float | None = None
    target: float | None = None


@dataclass(frozen=True, slots=True)
class Written:
    """One value as a person wrote it. Times as papers print them, in the plant's zone with offset."""

    as_typed: str
    value: float | None
    """SI; None for a tick and for words."""
    is_within: bool | None
    at: str
    """When it happened, as the person said."""
    by: str
    entered: str
    """When it was entered, by the server's clock."""
    is_late: bool = False
    """Entered longer after it happened than the plant allows."""
    instrument: str = ""
    checked: str = ""
    """How, when and by whom a critical value was checked; "" where it was not."""
    reason: str = ""
    """Why nothing was written, or why late; a changed value has its reason in the note."""


@dataclass(frozen=True, slots=True)
class Change:
    """A value that was changed after it was first entered."""

    mark: int
    what: str
    old: Written
    new: Written
    reason: str


@dataclass(frozen=True, slots=True)
class RecordEntry:
    """One thing that was to be written down, with what stands there now."""

    name: str
    range: Range
    current: Written | None
    nothing: Nothing | None
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True)
class RecordStep:
    number: int
    name: str
    leg: str
    """"" for the whole bed."""
    vessel: str
    state: str
    planned_s: float
    took_s: float | None
    started: str
    finished: str
    nothing: Nothing | None
    """Why it was not begun."""
    skip_reason: str
    water: str
    chemical: str
    drain_to: str
    entries: tuple[RecordEntry, ...]


@dataclass(frozen=True, slots=True)
class RecordTank:
    position: int
    serial: str
    visit: str
    size: str
    customer: str
    received: str
    resin_volume_m3: float
    intake: str
    """What was found when it came in, in words."""
    filled: str
    filled_m3: float | None
    set_aside: str
    """Why it was set aside."""
    nothing: Nothing | None
    """Why no filling stands here."""
    state: str


OUT_OF_CALIBRATION = "calibration overdue"
"""What stands in ``doubts`` where nothing but the calibration speaks against a reading."""


@dataclass(frozen=True, slots=True)
class RecordReading:
    at: str
    step: int
    minutes: float | None
    """Since the first judged rinse began."""
    rinsed_bv: float
    as_typed: str
    temperature: str
    compensation: str
    """What the meter had corrected by itself, in words."""
    value: float
    """As the limit looks at it: resistivity [ohm m] or conductivity [S/m]."""
    instrument: str
    doubts: str
    """Why it proves nothing; "" if it counts."""
    by: str
    entered: str
    is_late: bool
    checked: str = ""
    mark: int | None = None
    """Of the change that brought it here."""


@dataclass(frozen=True, slots=True)
class RecordLog:
    """One log of a meter: what it is known by, not its thousands of readings."""

    first: str
    last: str
    step: int
    count: int
    source: str
    name: str
    unit: str
    compensation: str
    instrument: str
    doubts: str
    by: str
    entered: str
    digest: str
    set_aside: tuple[str, ...]
    """What of it counts no more, each as a sentence."""


@dataclass(frozen=True, slots=True)
class Rinse:
    """The rinse-down: readings that stand, their changes, and the limit."""

    kind: str
    limit: float | None
    """In the quantity of ``kind``; None where a table or nothing limits it."""
    is_at_least: bool
    limit_name: str
    range: Range | None
    """The limit as the specification states it."""
    readings: tuple[RecordReading, ...]
    changes: tuple[Change, ...]
    nothing: Nothing | None
    logs: tuple[RecordLog, ...] = ()
    logged: tuple[tuple[float, float], ...] = ()
    """(minutes, value) of what meters logged, thinned; the lowest and the highest of each stretch are in it."""


@dataclass(frozen=True, slots=True)
class RecordMeasurement:
    name: str
    range: Range
    current: Written | None
    doubts: str
    method: str
    nothing: Nothing | None
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True)
class RecordDecision:
    """One QC decision as signed."""

    version: int
    verdict: str
    decided: str
    reason: str
    findings: tuple[tuple[str, str], ...]
    """(sentence, outcome)."""


@dataclass(frozen=True, slots=True)
class RecordReviewed:
    """One look through the whole record by a person who took no part."""

    version: int
    reviewed: str
    unusual: int
    remarks: str


@dataclass(frozen=True, slots=True)
class RecordReopened:
    """A signed record opened for correction."""

    reopened: str
    reason: str


@dataclass(frozen=True, slots=True)
class RecordDeviation:
    number: str
    severity: str
    step: str
    what: str
    opened: str
    owner: str
    measure: str
    cause: str
    decision: str
    decided: str
    """"" while it is open."""
    is_signed: bool


@dataclass(frozen=True, slots=True)
class RecordHold:
    reason: str
    is_interruption: bool
    held: str
    resumed: str
    """"" while it stands."""


@dataclass(frozen=True, slots=True)
class RecordDraw:
    """Chemical that was drawn for the batch, or taken back."""

    number: int
    chemical: str
    lot: str
    supplier_lot: str
    certificate_strength_frac: float | None
    checked_strength_frac: float | None
    """What the dose was worked out with, as frozen in the plan; None for a chemical that is not of the plan."""
    kg_100: float
    """Negative for one that takes another back."""
    at: str
    by: str
    words: str


@dataclass(frozen=True, slots=True)
class RecordStrength:
    """The strength that the dose of one chemical was worked out with, as frozen, and how it came about."""

    chemical: str
    strength_frac: float
    stock: str
    origin: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordSignature:
    printed_name: str
    roles: str
    meaning: str
    local: str
    utc: str
    terminal: str
    record: str
    digest: str


@dataclass(frozen=True, slots=True)
class RecordPaper:
    name: str
    subject: str
    issue: int
    at: str
    by: str
    sha256: str


@dataclass(frozen=True, slots=True)
class RecordForm:
    """One numbered paper form about the batch, and what became of it."""

    number: str
    kind: str
    issued: str
    became: str
    """Who transcribed and who confirmed it, or that it is spoiled, missing or still about."""
    scans: int


@dataclass(frozen=True, slots=True)
class RecordInstrument:
    code: str
    name: str
    calibrated: str
    due: str


@dataclass(frozen=True, slots=True)
class RecordAct:
    """One act of the story."""

    number: int
    at: str
    happened: str
    """If it was written down more than a quarter of an hour later; else ""."""
    who: str
    roles: str
    terminal: str
    sentence: str
    reason: str


@dataclass(frozen=True, slots=True)
class Separation:
    """How a mixed bed parted: what was predicted, and where the entries stand."""

    step_number: int
    predicted: tuple[Figure, ...]
    lines: tuple[RecordEntry, ...]


@dataclass(frozen=True, slots=True)
class RecordTopUp:
    """Resin that was added to the bed, the bed as counted then, and what had been lost; volumes in the exhausted form [m^3]."""

    lot: str
    added_m3: float
    bed_m3: float
    lost_m3: float
    when: str
    who: str
    reason: str


@dataclass(frozen=True, slots=True)
class BatchRecordContent:
    """Everything that a batch record says."""

    plant: str
    zone: str
    batch_number: str
    state: str
    """One sentence: where the batch stands."""
    resin: str
    resin_description: str
    family: str
    segregation_class: str
    dedicated_to: str
    vessel: str
    rework_of: str
    rework_cause: str
    children: tuple[str, ...]
    resin_volume_m3: float
    resin_form: str
    recipe: str
    recipe_name: str
    recipe_digest: str
    specification: str
    specification_name: str
    specification_digest: str
    planned: str
    started: str
    rinsed: str
    judged: str
    finished: str
    lot_in: str
    lot: str
    lot_parents: tuple[tuple[str, float], ...]
    """Lots that went in, with their shares."""
    top_ups: tuple[RecordTopUp, ...]
    core_version: str
    plan_digest: str
    is_plan_untouched: bool
    waste: tuple[Figure, ...]
    """As planned."""
    tanks: tuple[RecordTank, ...]
    steps: tuple[RecordStep, ...]
    separation: Separation | None
    rinse: Rinse
    measurements: tuple[RecordMeasurement, ...]
    decisions: tuple[RecordDecision, ...]
    reopenings: tuple[RecordReopened, ...]
    reviews: tuple[RecordReviewed, ...]
    deviations: tuple[RecordDeviation, ...]
    holds: tuple[RecordHold, ...]
    draws: tuple[RecordDraw, ...]
    planned_kg_100: tuple[tuple[str, float], ...]
    strengths: tuple[RecordStrength, ...]
    instruments: tuple[RecordInstrument, ...]
    signatures: tuple[RecordSignature, ...]
    papers: tuple[RecordPaper, ...]
    forms: tuple[RecordForm, ...]
    acts: tuple[RecordAct, ...]
    issue: Issue

    @property
    def changes(self) -> tuple[Change, ...]:
        """Every value changed after first entry, in the order of the marks."""
        found = [change for step in self.steps for entry in step.entries for change in entry.changes]
        found += self.rinse.changes
        found += [change for one in self.measurements for change in one.changes]
        return tuple(sorted(found, key=lambda change: change.mark))


def content_digest(content: BatchRecordContent) -> str:
    """Digest of what the record says."""
    return digest(canonical_text(content))
