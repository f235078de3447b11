"""Falsifying samples of resin, looks at lots, and the capacities that plans count with."""

from __future__ import annotations

from tests.audit.tampering.ways import altered, removed

altered("edit a figure of a resin sample", "quality_resinfigure", "value = value * 1.1", says="resin figure .+",
        and_says=r"resin_sample: The total capacity of resin sample LT-1001 is not what was typed, 1\.71 eq/L")  # fmt: skip
altered("edit what new resin has", "quality_resinfigure", "new_value = 1500", says="resin figure .+")
altered(
    "put a resin sample under another report",
    "quality_resinsample",
    "report = 'MB 9'",
    says="resin sample LT-1001",
)
removed("delete a figure of a resin sample", "quality_resinfigure", says="resin figure")
altered("take back what a quick test said", "quality_lotlook", "answers = '{}'", says="lot look .+")
removed("delete a look at a lot", "quality_lotlook", says="lot look")
altered("edit the capacity that plans count with", "resins_lotcapacity", "factor = 1.1", says="lot capacity .+",
        and_says=r"capacity: Capacity \d of resin lot N-1 is not what was signed\.")  # fmt: skip
altered("renumber a capacity", "resins_lotcapacity", "number = 7", where="number = 2", says="lot capacity .+",
        and_says=r"capacity: Capacity 7 of resin lot N-1 does not follow 1\.")  # fmt: skip
removed("delete the first capacity that was set", "resins_lotcapacity", says="lot capacity",
        and_says=r"capacity: Capacity 2 of resin lot N-1 does not follow 0\.")  # fmt: skip
