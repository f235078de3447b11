"""Figures of the planner, measured: ``python -m tests.figures plan [--size day ...] [--seeds 1-5] [--seconds 10 60]``.

Each instance is planned for each time in a process of its own, as ``plan_instance`` does it, and the plan is held against the
project's checker. What is measured goes line by line into a file; what stands there already is not measured again, so a run that was
broken off goes on. At the end a table in Markdown with the medians over the seeds is printed. The machine should be quiet.

Instances come from a generator beside the project (``gen.py --size SIZE --seed N --out FILE``).
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.figures.table import table

ROOT = Path(__file__).resolve().parents[2]
GENERATOR = ROOT.parent / "shared" / "planning" / "gen.py"
MEASURED = Path(tempfile.gettempdir()) / "plan_figures.jsonl"
SECONDS = {"small": (5.0,), "day": (1.0, 10.0, 60.0), "week": (3.0, 60.0), "stress": (10.0, 60.0)}
"""Times at which each size has to have reached something."""

SEEDS = "1-5"


def main() -> int:
    options = _options()
    known = _known(options.out)
    for size in options.size:
        for seed in _numbers(options.seeds):
            for seconds in options.seconds or SECONDS[size]:
                name = (size, seed, seconds)
                if name not in known:
                    known[name] = _measured(options, size, seed, seconds)
    wanted = [
        figures
        for (size, seed, seconds), figures in known.items()
        if size in options.size
        and seed in _numbers(options.seeds)
        and seconds in (options.seconds or SECONDS[size])
    ]
    print(table(wanted))
    broken = [f"{item['size']}-{item['seed']}" for item in wanted if not item["feasible"]]
    if broken:
        print(f"\nPlans that break a limit: {', '.join(broken)}")
    return 1 if broken else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.figures", description=__doc__)
    parser.add_argument("what", choices=["plan"], help="which figures")
    parser.add_argument("--size", nargs="+", choices=list(SECONDS), default=list(SECONDS))
    parser.add_argument("--seeds", default=SEEDS, help=f"such as 1-5 or 2,7 ({SEEDS})")
    parser.add_argument("--seconds", nargs="+", type=float, help="else the times of each size")
    parser.add_argument("--workers", type=int, default=2, help="processes that search side by side (2)")
    parser.add_argument("--generator", type=Path, default=GENERATOR, help=f"makes instances ({GENERATOR})")
    parser.add_argument(
        "--out", type=Path, default=MEASURED, help=f"what was measured, a line for each plan ({MEASURED})"
    )
    options = parser.parse_args()
    if not options.generator.exists():
        parser.error(f"There is no generator of instances at {options.generator}.")
    return options


def _numbers(text: str) -> list[int]:
    """``1-3,7`` as 1, 2, 3, 7."""
    found: list[int] = []
    for part in text.split(","):
        first, _, last = part.partition("-")
        found += range(int(first), int(last or first) + 1)
    return found


def _known(path: Path) -> dict[tuple[str, int, float], dict[str, object]]:
    if not path.exists():
        return {}
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]
    return {(item["size"], item["seed"], item["seconds"]): item for item in lines}


def _measured(options: argparse.Namespace, size: str, seed: int, seconds: float) -> dict[str, object]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "instance.json"
        subprocess.run(
            [sys.executable, str(options.generator), "--size", size, "--seed", str(seed), "--out", str(path)],
            check=True,
        )
        told = subprocess.run(
            [sys.executable, "-m", "tests.figures.one", str(path), str(seconds), str(options.workers)],
            check=True,
            capture_output=True,
            text=True,
            cwd=ROOT,
        ).stdout
    line = next(line for line in told.splitlines() if line.startswith("{"))  # the library beneath prints too
    figures = {"size": size, "seed": seed, "seconds": seconds, **json.loads(line)}
    with options.out.open("a", encoding="utf-8") as out:
        out.write(json.dumps(figures) + "\n")
    print(json.dumps(figures), file=sys.stderr, flush=True)
    return figures


if __name__ == "__main__":
    raise SystemExit(main())
