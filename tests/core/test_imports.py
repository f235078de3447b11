"""The core is cheap to import: the libraries of the field come on first use only."""

from __future__ import annotations

import subprocess
import sys

_SCRIPT = """
import sys, time
start = time.process_time()
import regenplant.core.process.batch_plan, regenplant.core.process.acceptance, regenplant.core.process.default_recipes
import regenplant.core.engineering.rinse, regenplant.core.engineering.equilibria, regenplant.core.engineering.baume
spent = time.process_time() - start
heavy = [name for name in ("numpy", "scipy", "pandas", "chemicals", "fluids", "thermo", "pint", "django") if name in sys.modules]
print(f"{spent:.3f}", ",".join(heavy))
"""


def test_importing_the_core_loads_no_heavy_library_and_takes_a_moment() -> None:
    """Processor time, about 0.09 s, so that a busy machine does not count; the aim for a waiting person is 1 s."""
    spent = []
    for _ in range(3):
        done = subprocess.run(
            [sys.executable, "-c", _SCRIPT], capture_output=True, text=True, check=True, timeout=60
        )
        seconds, _, heavy = done.stdout.strip().partition(" ")
        assert heavy == ""
        spent.append(float(seconds))
    assert min(spent) < 0.3
