"""Safety panels keep their meaning in print, in colour and in grey."""

import pytest

from regenplant.core.process.hazards import step_cautions
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.documents import pictograms
from regenplant.documents.safety import GREEN, SAFETY_EQUIPMENT, SIGNALS


def luminance(colour) -> float:
    """Relative luminance as WCAG 2 defines it."""
    shares = (
        [colour] * 3 if isinstance(colour, float) else [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    )
    linear = [share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first, second) -> float:
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("signal", list(SignalWord))
def test_a_signal_word_is_readable_in_colour_and_in_grey(signal):
    shown = SIGNALS[signal]
    # WCAG 2 AA asks for 4.5; luminance is what a grey printer keeps
    assert contrast(shown.ground, shown.ink) >= 4.5
    assert shown.word == signal.value.upper()


def test_only_a_hazard_to_people_has_the_triangle():
    # ANSI Z535: the safety alert sign goes with injury, never with NOTICE or equipment
    assert {signal for signal, shown in SIGNALS.items() if shown.triangle is not None} == {
        SignalWord.DANGER,
        SignalWord.WARNING,
        SignalWord.CAUTION,
    }
    assert SAFETY_EQUIPMENT.triangle is None
    assert contrast(GREEN, SAFETY_EQUIPMENT.ink) >= 4.5


def test_grounds_are_the_colours_of_z535():
    def strongest(colour):
        return max(range(3), key=lambda i: int(colour[1 + 2 * i : 3 + 2 * i], 16))

    assert strongest(SIGNALS[SignalWord.DANGER].ground) == 0
    assert strongest(SIGNALS[SignalWord.NOTICE].ground) == 2
    assert SIGNALS[SignalWord.WARNING].ground != SIGNALS[SignalWord.CAUTION].ground


@pytest.mark.parametrize("chemical", list(Chemical))
def test_every_pictogram_that_a_step_asks_for_is_drawn_or_named_in_words(chemical):
    """The environment is named in words only: it is no pictogram of a person's hazard."""
    cautions = [caution for kind in StepKind for caution in step_cautions(kind, chemical, 0.05, 0.3, 293.15)]
    codes = {code for caution in cautions for code in caution.pictograms}
    assert {code for code in codes if not pictograms.is_drawn(code)} <= {"GHS09"}
    assert all(len(pictograms.named(code)) > len(code) + 1 for code in codes)


def test_a_pictogram_without_a_drawing_is_named_in_words():
    assert not pictograms.is_drawn("GHS09")
    assert pictograms.named("GHS09") == "GHS09 environment"


@pytest.mark.parametrize("code", ["GHS02", "GHS03", "GHS05", "GHS07"])
def test_symbols_stay_inside_their_frame(code):
    """The inner edge of the frame is |x − 50| + |y − 50| = 42.75 in a field of 100; a symbol stays inside it."""

    class Ruler:
        def __init__(self) -> None:
            self.corners: list[tuple[float, float]] = []

        def polygon(self, points, **style) -> None:
            pass

        def outline(self, x, y, scale, commands, **style) -> None:
            for _, numbers in commands:
                self.corners += [
                    (x + a * scale, y + b * scale) for a, b in zip(numbers[0::2], numbers[1::2], strict=True)
                ]

        def circle(self, x, y, radius, **style) -> None:
            self.corners += [(x + radius, y), (x - radius, y), (x, y + radius), (x, y - radius)]

        def rule(self, x1, y1, x2, y2, **style) -> None:
            self.corners += [(x1, y1), (x2, y2)]

    ruler = Ruler()
    pictograms.draw(ruler, 0.0, 0.0, 100.0, code)
    assert ruler.corners
    assert max(abs(x - 50) + abs(y - 50) for x, y in ruler.corners) <= 45.5 - 5.5 / 2
