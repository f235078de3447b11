"""The one CSS file, the fonts and the script: contrast of the tokens, nothing from another host.

The contrast formula is that of WCAG 2.2 (relative luminance, success criterion 1.4.3); black on white is 21 by its
definition. Thresholds: 4.5 for text (1.4.3), 3 for lines and shapes that carry meaning (1.4.11).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import regenplant.web

STATIC = Path(regenplant.web.__file__).parent / "static" / "web"
CSS = (STATIC / "regenplant.css").read_text(encoding="utf-8")
SCRIPT = (STATIC / "regenplant.js").read_text(encoding="utf-8")
PAD = (STATIC / "pad.js").read_text(encoding="utf-8")


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):(#[0-9a-f]{6})", block))


def blocks() -> dict[str, dict[str, str]]:
    light = re.search(r"\n:root\{(.*?)\n\}", CSS, re.S)
    by_device = re.search(
        r"prefers-color-scheme:dark\)\{:root:not\(\[data-theme=light\]\)\{(.*?)\}\}", CSS, re.S
    )
    chosen = re.search(r"\n:root\[data-theme=dark\]\{(.*?)\}", CSS, re.S)
    assert light and by_device and chosen
    base = tokens(light[1])
    return {"light": base, "dark": base | tokens(by_device[1]), "dark chosen": base | tokens(chosen[1])}


def luminance(colour: str) -> float:
    def linear(channel: int) -> float:
        value = channel / 255
        return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(colour[n : n + 2], 16)) for n in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


TEXT, LARGE_SHAPE = 4.5, 3.0
PAIRS = [
    ("ink", "sheet", 12.0),
    ("ink", "bench", TEXT),
    ("ink", "well", TEXT),
    ("ink", "wash", 11.0),
    ("ink-2", "sheet", 7.0),
    ("ink-2", "bench", TEXT),
    ("ink-2", "wash", TEXT),
    ("pencil", "sheet", 8.0),
    ("pencil", "bench", 6.0),
    ("pencil", "wash", 7.0),
    ("on-pencil", "pencil", TEXT),
    ("on-amber", "amber", 8.0),
    ("amber-ink", "sheet", 7.0),
    ("amber-ink", "bench", TEXT),
    ("on-red", "red", TEXT),
    ("red-ink", "sheet", 7.0),
    ("good", "sheet", 7.0),
    ("tick", "sheet", LARGE_SHAPE),
    ("tick", "bench", LARGE_SHAPE),
    ("tick", "well", LARGE_SHAPE),
    ("red", "sheet", LARGE_SHAPE),
    ("sheet", "ink", 12.0),
]


def test_the_formula_gives_21_for_black_on_white_and_1_for_the_same():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#57347f", "#57347f") == 1.0


@pytest.mark.parametrize("theme", ["light", "dark", "dark chosen"])
@pytest.mark.parametrize(("fore", "ground", "least"), PAIRS)
def test_tokens_keep_their_contrast(theme, fore, ground, least):
    values = blocks()[theme]
    assert contrast(values[fore], values[ground]) >= least, f"{fore} on {ground} in {theme}"


@pytest.mark.parametrize(
    ("word", "panel"),
    [
        ("#ffffff", "z-red"),
        ("#000000", "z-orange"),
        ("#000000", "z-yellow"),
        ("#ffffff", "z-blue"),
        ("#ffffff", "z-green"),
    ],
)
def test_signal_words_can_be_read_on_their_panels(word, panel):
    assert contrast(word, blocks()["light"][panel]) >= TEXT


def test_safety_colours_are_the_same_in_every_theme():
    themes = blocks()
    for name in ("z-red", "z-orange", "z-yellow", "z-blue", "z-green"):
        assert len({theme[name] for theme in themes.values()}) == 1


def test_the_chosen_dark_is_the_dark_of_the_device():
    assert blocks()["dark"] == blocks()["dark chosen"]


def test_every_token_used_is_defined():
    used = set(re.findall(r"var\(--([\w-]+)[,)]", CSS))
    defined = set(re.findall(r"[{;\s]--([\w-]+):", CSS))
    assert used - defined == set()


def test_nothing_comes_from_another_host():
    for text in (
        CSS,
        SCRIPT,
        PAD,
        (STATIC / "favicon.svg").read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", ""),
    ):
        assert not re.search(r"https?:|//[a-z]|@import|data:", text)


def test_every_font_file_is_there_and_has_its_licence():
    named = set(re.findall(r"url\((fonts/[\w.-]+)\)", CSS))
    assert named == {f"fonts/{path.name}" for path in (STATIC / "fonts").glob("*.woff2")}
    licences = (STATIC / "fonts" / "LICENCES.txt").read_text(encoding="utf-8")
    assert all(word in licences for word in ("figures-", "book-", "marks-", "SIL OPEN FONT LICENSE"))


def test_floor_text_is_eighteen_pixels_and_targets_are_large():
    assert "html{font-size:112.5%" in CSS  # 18 px at the browser's 16
    assert re.search(r"--t-0:1rem; --t-1:1rem;", CSS)
    assert re.search(r"--tap:3\.5rem", CSS)  # 63 px


def test_focus_is_never_taken_away_from_what_can_be_pressed():
    assert ":focus-visible{outline:var(--ring) solid var(--pencil)" in CSS
    removed = re.findall(r"([^{}]+)\{[^}]*outline:none", CSS)
    assert [selector.strip() for selector in removed] == ['[tabindex="-1"]:focus']


def test_the_script_runs_under_the_strict_policy():
    assert not re.search(
        r"\beval\b|new Function|innerHTML|document\.write|\.style\b|localStorage|fetch\(", SCRIPT + PAD
    )


def test_the_files_stay_small():
    assert len(CSS.encode()) < 50_000
    assert len(SCRIPT.encode()) < 9_000
    assert len(PAD.encode()) < 5_000
    assert sum(path.stat().st_size for path in (STATIC / "fonts").glob("*.woff2")) < 180_000
