"""The drawings of the sizing's page: to scale, the same every time, and no text over another."""

import functools
import itertools

import pytest
from matplotlib.patches import Ellipse, Polygon
from matplotlib.text import Text

from host_sim.sizing.document import edited
from host_sim.sizing.head import ALONE_1, BOTH
from host_sim.sizing.model import size
from host_sim.sizing.report.charts import curves_chart, cycle_chart
from host_sim.sizing.report.elevation import WIDTH_PT, elevation
from host_sim.sizing.report.figure import POINTS_A_METRE, SCALES, apart, scale_for, svg
from host_sim.sizing.report.page import build
from host_sim.sizing.report.pit_section import pit_section, scale_of
from host_sim.sizing.say import Say
from tests.sampled import sampled
from tests.sizing_sites import SOUND

US, GPM = Say("us"), 6.30902e-5
DEEP = {"pit.diameter": "18 in", "pit.depth": "120 in", "discharge.outlet": "16 ft", "discharge.riser.length": "16 ft"}
LEVELS = {"off": 5.0, "lead": 6.2, "lag": 6.9, "high": 7.5}
CLOSE = {name: {"wet_at": f"{wet} in", "dry_at": f"{wet - 0.2} in"} for name, wet in LEVELS.items()}
UNLIKE = {"pump1.curve": [["0 gpm", "24 ft"], ["33 gpm", "16 ft"], ["62 gpm", "0 ft"]]}
SITES = {
    "sound": {},
    "narrow and deep": {**DEEP, "pump.curve": [["0 gpm", "40 ft"], ["60 gpm", "0 ft"]]},
    "contacts close together, a drain": {"contacts": CLOSE, "sizing.basin.inlet": "7.2 in"},
    "square, unlike pumps": {**UNLIKE, "pit.shape": "square", "pit.side": "30 in", "pit.diameter": None},
    "a line for each pump": {"discharge.header": None, "discharge.riser.fittings.exit": 1},
    "far more inflow than one pump moves": {"sizing.evidence.0.in": "0.3 min"},
    "no check valves": {"discharge.riser.fittings.swing_check": None},
    "pipe of a given diameter": {"discharge.header.pipe": None, "discharge.header.diameter": "1.9 in"},
    "inflow off the chart": {"sizing.evidence.0.in": "0.1 min"},
}


@functools.cache
def page_of(name):
    return build(size(edited(SOUND, SITES[name])), US, with_cures=False, with_check=False)


@pytest.fixture(scope="module")
def sound():
    return page_of("sound")


def words(figure):
    """Return the texts that can be read in a figure."""
    return [text.get_text() for text in figure.findobj(Text) if text.get_text() and text.get_visible()]


def boxes(figure):
    """Return (text, box) of every text inside the figure."""
    svg(figure, "a", "as it is written")
    renderer, frame = figure._get_renderer(), figure.bbox
    found = []
    for text in figure.findobj(Text):
        box = text.get_window_extent(renderer)
        ticks = [label for axes in figure.axes for label in (*axes.get_xticklabels(), *axes.get_yticklabels())]
        if text in ticks and not (frame.x0 <= box.x0 and box.x1 <= frame.x1 and frame.y0 <= box.y0 <= frame.y1):
            continue
        if text.get_text() and text.get_visible():
            found.append((text.get_text(), box))
    return found


def overlaps(figure):
    """Return the pairs of texts that lie on each other by more than a point."""
    found = []
    for (a, one), (b, two) in itertools.combinations(boxes(figure), 2):
        wide, high = min(one.x1, two.x1) - max(one.x0, two.x0), min(one.y1, two.y1) - max(one.y0, two.y0)
        if wide > 1.0 and high > 1.0:
            found.append((a, b))
    return found


@pytest.mark.long
@pytest.mark.parametrize("name", sampled(SITES, 2))
@pytest.mark.parametrize("system", sampled(["us", "si"], 2))
def test_no_text_lies_on_another_or_leaves_the_drawing(name, system):
    page, say = page_of(name), Say(system)
    for draw in (pit_section, elevation, curves_chart, cycle_chart):
        figure = draw(page, say)
        assert overlaps(figure) == []
        for text, box in boxes(figure):
            inside = box.x0 >= -1 and box.y0 >= -1 and box.x1 <= figure.bbox.x1 + 1 and box.y1 <= figure.bbox.y1 + 1
            assert inside, text


def test_an_overlap_would_be_found(sound):
    figure = pit_section(sound, US)
    figure.axes[0].text(100.0, 100.0, "one text")
    figure.axes[0].text(104.0, 102.0, "another")
    assert ("one text", "another") in overlaps(figure)


def test_the_pit_is_drawn_to_scale(sound):
    figure, result = pit_section(sound, US), sound.result
    scale = POINTS_A_METRE / scale_of(result)
    levels = [contact.dry_m if i == 0 else contact.wet_m for i, contact in enumerate(result.contacts)]
    floats = [patch.center[1] for patch in figure.axes[0].patches if isinstance(patch, Ellipse)]
    for (y0, y1), (level0, level1) in zip(itertools.pairwise(floats), itertools.pairwise(levels), strict=True):
        assert (y1 - y0) / (level1 - level0) == pytest.approx(scale, rel=1e-9)
    # The bar beside "6 in" is six inches long at that scale, and a point of the drawing is one of the figure.
    bar = next(line for line in figure.axes[0].lines if line.get_ydata()[0] == line.get_ydata()[1] == 8.0)
    assert (bar.get_xdata()[1] - bar.get_xdata()[0]) / 0.1524 == pytest.approx(scale, rel=1e-9)
    assert figure.axes[0].get_xlim()[1] == pytest.approx(72.0 * figure.get_figwidth())
    assert figure.axes[0].get_ylim()[1] == pytest.approx(72.0 * figure.get_figheight())
    read = words(figure)
    assert {"6 in", f"scale 1 : {scale_of(result)}", "36.0 in", "30.0 in inside", "floor 36.0 in"} <= set(read)
    for name, level in zip(("off", "lead", "lag", "high"), levels, strict=True):
        assert f"{name} {level / 0.0254:.1f} in" in read


def dimensions(figure):
    """Return the lengths in points of the dimension lines: two filled arrow heads each, tips at both ends."""
    shapes = [patch.get_xy() for patch in figure.axes[0].patches if isinstance(patch, Polygon)]
    tips = [tuple(shape[0]) for shape in shapes if len(shape) == 4]
    return [((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 for (x0, y0), (x1, y1) in zip(tips[::2], tips[1::2], strict=True)]


def test_dimension_lines_are_as_long_as_they_say(sound):
    scale = POINTS_A_METRE / scale_of(sound.result)
    assert dimensions(pit_section(sound, US)) == pytest.approx([36 * 0.0254 * scale, 30 * 0.0254 * scale])
    figure = elevation(sound, US)
    ratio = next(int(text.split(" : ")[1]) for text in words(figure) if text.startswith("heights 1 : "))
    assert dimensions(figure) == pytest.approx([11 * 0.3048 * POINTS_A_METRE / ratio])
    assert "11.0 ft" in words(figure)


def test_the_elevation_names_each_pipe_with_its_length_and_tells_of_a_missing_valve():
    read = words(elevation(page_of("sound"), US))
    wanted = {"each riser", "11.0 ft of 2 in", "header", "20.0 ft of 2 in", "full-open valves", "check valves"}
    assert wanted <= set(read)
    read = words(elevation(page_of("no check valves"), US))
    assert "NO check valve" in read and "check valves" not in read


def test_labels_that_do_not_fit_below_the_top_move_down_in_order():
    assert apart([10.0, 50.0], 12.0) == [10.0, 50.0]
    assert apart([10.0, 11.0, 50.0], 12.0) == [10.0, 22.0, 50.0]
    assert apart([10.0, 50.0, 51.0, 52.0], 12.0, 60.0) == [10.0, 36.0, 48.0, 60.0]


@pytest.mark.parametrize("name", SITES)
def test_no_word_of_the_elevation_stands_on_the_wall(name):
    figure = elevation(page_of(name), US)
    wall = WIDTH_PT - 46.0
    for text, box in boxes(figure):
        left, right = 72.0 / figure.dpi * box.x0, 72.0 / figure.dpi * box.x1
        assert right <= wall or text == "outlet" or left >= wall, text


def test_the_scale_is_the_largest_of_a_rule_that_fits():
    for system, scales in SCALES.items():
        for n in scales:
            points = POINTS_A_METRE / n
            assert scale_for(100.0 / points, 50.0 / points, 100.1, 50.1, system) == n
    assert scale_for(1e6, 1.0, 100.0, 100.0, "us") == SCALES["us"][-1]


def test_the_charts_carry_curves_points_and_limits(sound):
    curves, cycle = curves_chart(sound, US), cycle_chart(sound, US)
    read = words(curves)
    assert {"one pump", "both pumps", "system"} <= set(read)
    flow, both = sound.result.flow(ALONE_1) / GPM, sound.result.flow(BOTH) / GPM
    dots = {line.get_label(): line for line in curves.axes[0].lines if line.get_marker() != "None"}
    for which, gpm in (("one pump", flow), ("both pumps", both)):
        label = next(text for text in dots if text.startswith(f"{which}: {gpm:.1f} gpm at"))
        assert label in read and dots[label].get_xdata()[0] == pytest.approx(gpm, rel=1e-5)
        assert label.endswith(f" {dots[label].get_ydata()[0]:.2f} ft")
    markers = [line.get_marker() for line in dots.values()]
    dashes = [str(line.get_linestyle()) + str(line._dash_pattern) for line in curves.axes[0].lines]
    assert len(set(markers)) == len(markers) and len(set(dashes)) >= 3  # told apart in black and white
    read = words(cycle)
    assert any(text.startswith("shortest: ") for text in read) and any("design inflow" in text for text in read)
    assert any("15 starts/h" in text for text in read)
    level = next(line for line in cycle.axes[0].lines if "15 starts/h" in line.get_label())
    assert level.get_ydata()[0] == pytest.approx(3600.0 / 15 / 2)


@pytest.mark.long
def test_the_same_site_gives_the_same_svg(sound):
    for draw in (pit_section, elevation, curves_chart, cycle_chart):
        one, two = (svg(draw(sound, US), "a", "a title") for _ in range(2))
        assert one == two and one.startswith("<svg ") and one.endswith("</svg>") and "<dc:date>" not in one
