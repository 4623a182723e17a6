"""The colors of the pictures: one published palette, told apart without color too.

Contrast after WCAG 2.2, success criterion 1.4.11: 3 to 1 for what carries a meaning in a picture.
"""

import itertools

import numpy as np
import pytest
import report_sample as sample
from matplotlib.colors import to_hex, to_rgb
from matplotlib.patches import Rectangle

from host_sim.report import lanes, strip
from host_sim.report.units import US
from host_sim.run.trace import AlarmSpan, Run, Span

# Okabe and Ito (2008), "Color Universal Design", the color set's table of RGB values.
OKABE_ITO_RGB = (
    (0, 0, 0), (230, 159, 0), (86, 180, 233), (0, 158, 115),
    (240, 228, 66), (0, 114, 178), (213, 94, 0), (204, 121, 167),
)  # fmt: skip
OKABE_ITO = {"#{:02x}{:02x}{:02x}".format(*rgb) for rgb in OKABE_ITO_RGB}
LEAST_CONTRAST = 3.0


def luminance(color):
    """Return the relative luminance of a color, 0 to 1, after WCAG 2.2."""
    parts = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(color)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one, other):
    """Return the contrast ratio of two colors, 1 to 21, after WCAG 2.2."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def everything():
    """Return a night in which every kind of lane occurs."""
    trace = sample.duplex()
    trace.supply.append(Span("generator", 9 * sample.HOUR, sample.DURATION))
    trace.outputs.append(Span("controller", 9.2 * sample.HOUR, 9.3 * sample.HOUR))
    trace.alarms.append(AlarmSpan("lag_reached", "low", "lag reached", 6 * sample.HOUR, None, 7 * sample.HOUR))
    return trace


def hue(color):
    """Return whether a color is more than a tint of black."""
    red, green, blue = to_rgb(color)
    return not red == green == blue


def test_contrast_is_reckoned_as_wcag_does():
    # WCAG 2.2: black on white is 21 to 1; #767676 is the lightest grey that reaches 4.5 to 1 on white.
    assert contrast("black", "white") == pytest.approx(21.0)
    assert contrast("#767676", "white") == pytest.approx(4.54, abs=0.01)


def test_the_palette_is_the_published_one():
    named = (lanes.BLACK, lanes.ORANGE, lanes.SKY, lanes.GREEN, lanes.YELLOW, lanes.BLUE, lanes.VERMILION, lanes.PURPLE)
    assert {color.lower() for color in named} == OKABE_ITO


def test_every_hue_of_the_picture_is_of_the_palette():
    figure = strip.draw(everything(), US, sample.single())
    found = set()
    for artist in figure.findobj():
        for name in ("get_facecolor", "get_edgecolor", "get_color"):
            value = getattr(artist, name, list)()
            values = value if np.ndim(value) == 2 else [value]
            found |= {to_hex(one) for one in values if len(one) and hue(one)}
    assert found - OKABE_ITO == set()
    assert len(found) >= 6


def test_lanes_of_one_group_differ_without_color():
    groups = lanes.groups(everything())
    assert {group.title for group in groups} >= {"pumps", "supply", "faults", "alarms and suspect floats"}
    for group in groups:
        for one, other in itertools.combinations(group.lanes, 2):
            alike = one.hatch == other.hatch and contrast(one.colour, other.colour) < LEAST_CONTRAST
            assert not alike or one.colour == other.colour, f"{one.name} and {other.name} look alike in grey"


def crowded():
    """Return two nights of many runs: bars without outline, and shares of time."""
    night, season = sample.duplex(), sample.duplex()
    season.runs = [Run(1 + n % 2, 14.0 * n, 14.0 * n + 5, "lead") for n in range(2500)]
    return everything(), night, season


@pytest.mark.parametrize("trace", crowded(), ids=["everything", "night", "season"])
def test_every_bar_stands_out_from_paper_and_its_hatch_from_the_bar(trace):
    # The lanes' panels are those without a scale of their own.
    panels = [axes for axes in strip.draw(trace, US).axes if not axes.get_ylabel()]
    bars = [one for axes in panels for one in (*axes.collections, *axes.patches) if not isinstance(one, Rectangle)]
    assert len(bars) >= 8
    for bar in bars:
        face, edge = to_rgb(_one(bar.get_facecolor())), to_rgb(_one(bar.get_edgecolor()))
        outlined = np.max(bar.get_linewidth()) > 0 and contrast(edge, "white") >= LEAST_CONTRAST
        assert outlined or contrast(face, "white") >= LEAST_CONTRAST
        if bar.get_hatch():
            assert contrast(edge, face) >= LEAST_CONTRAST


def _one(color):
    # A collection has a list of colors, a patch has one.
    return color[0] if np.ndim(color) == 2 else color
