"""The strip chart: what it must carry, that no label lies on another, and the tools that see to it."""

import itertools

import numpy as np
import pytest
import report_sample as sample
from matplotlib.text import Text

from host_sim.report import closeup, lanes, series, strip
from host_sim.report.clock import Clock
from host_sim.report.units import SI, US
from host_sim.run.trace import AlarmSpan, FaultSpan, Run, Span


@pytest.fixture(scope="module")
def figure():
    """Give the sample night's strip chart, drawn once."""
    trace = sample.duplex()
    trace.battery_v = [12.6 - 0.8 * (sample.OUT_FROM < now < sample.OUT_TO) for now in trace.time_s]
    return strip.draw(trace, US, sample.single())


def texts_of(figure):
    """Return every text artist with something to read, ticks outside the scale left out."""
    found = list(figure.texts)
    for axes in figure.axes:
        found += [*axes.texts, axes.xaxis.label, axes.yaxis.label]
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            found += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    return [text for text in found if text.get_text() and text.get_visible()]


def letters(figure):
    """Return (text, box in pixels) of every text, without the leader lines of annotations."""
    figure.canvas.draw()  # Ticks and annotations take their places only when they are drawn.
    renderer = figure.canvas.get_renderer()
    return [(text.get_text(), Text.get_window_extent(text, renderer)) for text in texts_of(figure)]


def overlaps(figure):
    """Return the pairs of texts whose letters lie on each other by more than a pixel or two."""
    found = []
    for (a, box_a), (b, box_b) in itertools.combinations(letters(figure), 2):
        wide = min(box_a.x1, box_b.x1) - max(box_a.x0, box_b.x0)
        high = min(box_a.y1, box_b.y1) - max(box_a.y0, box_b.y0)
        if wide > 2 and high > 2:
            found.append((a, b))
    return found


def words_of(figure):
    """Return all that can be read in a figure as one text."""
    return "\n".join(text.get_text() for text in texts_of(figure))


def test_the_picture_alone_carries_the_night(figure):
    words = words_of(figure)
    assert "out 00:42 to 04:12" in words  # mains out and back
    assert "B  lead float stuck wet" in words and "01:18 to 02:42" in words
    assert "C  pump 1 jammed" in words and "from 02:06" in words
    assert "high water (high)" in words and "02:06 to 02:14" in words  # alarm from when to when
    assert "highest water 14.6 in at 02:07,\n9.4 in below the floor" in words
    assert "FLOOR  24.0 in" in words
    assert "the same night with one pump" in words


def test_axes_carry_their_units(figure):
    words = words_of(figure)
    for unit in ("[in above pit bottom]", "[gpm]", "[V]", "clock time"):
        assert unit in words


def test_the_same_picture_in_si():
    words = words_of(strip.draw(sample.duplex(), SI))
    assert "[mm above pit bottom]" in words
    assert "[L/s]" in words
    assert "FLOOR  610 mm" in words


def test_no_label_lies_on_another(figure):
    assert overlaps(figure) == []


def test_no_text_leaves_the_page(figure):
    page = figure.bbox
    beyond = [text for text, box in letters(figure) if box.x0 < 0 or box.y0 < 0 or box.x1 > page.x1 or box.y1 > page.y1]
    assert beyond == []


@pytest.mark.long
def test_a_clash_of_labels_would_be_found():
    broken = strip.draw(sample.duplex(), US)
    broken.axes[0].annotate("one on", (0.5, 0.5), xycoords="axes fraction")
    broken.axes[0].annotate("the other", (0.5, 0.5), xycoords="axes fraction")
    assert ("one on", "the other") in overlaps(broken)


def crowded():
    """Return a night with contacts close together, flapping mains, and faults and alarms on top of each other."""
    trace = sample.duplex()
    trace.contact_trip_m = {"off": 0.30, "lead": 0.31, "lag": 0.32, "high": 0.33}
    flaps = [(3600.0 * 3 + 40 * n, 3600.0 * 3 + 40 * n + 20) for n in range(20)]
    trace.supply = [Span("none", start, end) for start, end in flaps]
    trace.faults = [FaultSpan(f"fault-{n}", f"invented fault number {n}", 15000.0 + 30 * n, 16000.0) for n in range(8)]
    trace.alarms += [
        AlarmSpan("high_water", "high", "high water", 9000.0 + 400 * n, None, 9100.0 + 400 * n) for n in range(30)
    ]
    return trace


@pytest.mark.long
def test_a_crowded_night_keeps_its_labels_apart():
    assert overlaps(strip.draw(crowded(), US, sample.single())) == []


def test_a_season_shows_shares_of_time_and_days():
    trace = sample.duplex()
    stretch = 30 * 86400.0
    trace.duration_s = stretch
    trace.time_s = list(np.linspace(0, stretch, len(trace.time_s)))
    trace.runs = [Run(1 + n % 2, 1000.0 * n, 1000.0 * n + 30, "lead") for n in range(2500)]
    trace.supply = [Span("mains", 0, stretch)]
    words = words_of(strip.draw(trace, US))
    assert "pump 1 runs (top: 2% of time)" in words  # 1250 runs of 30 s in 30 days are 1.4 %
    assert "day of the run" in words
    assert "never out" in words


def test_a_flood_of_minutes_in_months_is_still_drawn():
    months = 90 * 86400.0
    pair, single = sample.empty("duplex"), sample.empty("single")
    for trace in (pair, single):
        trace.duration_s = months
        trace.time_s = [0.0, 40 * 86400.0, 40 * 86400.0 + 600, 40 * 86400.0 + 1200, months]
        trace.level_m = [0.2, 0.2, 0.2, 0.2, 0.2]
        trace.inflow_m3s = [1e-4] * 5
    single.level_m[2] = sample.FLOOR + 0.05
    lines = strip.draw(pair, US, single).axes[0].lines
    dashed = [np.asarray(line.get_ydata(), float) for line in lines if line.get_color() == "black"]
    spike = next(data for data in dashed if len(data) > 2)
    assert np.isfinite(spike).sum() >= 3
    assert np.nanmax(spike) == pytest.approx(US.level.number(sample.FLOOR + 0.05))


@pytest.mark.long
def test_svg_keeps_its_letters_and_is_the_same_each_time(tmp_path):
    for name in ("a.svg", "b.svg"):
        strip.save(strip.draw(sample.duplex(), US), tmp_path / name)
    first = (tmp_path / "a.svg").read_bytes()
    assert first == (tmp_path / "b.svg").read_bytes()
    assert b"pump 1 jammed" in first


def test_an_envelope_loses_no_peak():
    times = np.linspace(0, 100, 10_000)
    values = np.zeros(10_000)
    values[1234], values[7777] = 5.0, -3.0
    _, low, high = series.envelope(times, values, 100.0, 50)
    assert high.max() == 5.0
    assert low.min() == -3.0
    assert (low <= high).all()


def test_an_envelope_bridges_where_no_point_fell():
    centres, low, high = series.envelope([0.0, 100.0], [0.0, 1.0], 100.0, 10)
    np.testing.assert_allclose((low + high) / 2, centres / 100)


def test_shares_add_up_to_the_time_covered():
    spans = [(0.0, 3.0), (9.5, 21.0), (99.0, 100.0)]
    _, shares = series.share(spans, 100.0, 10)
    assert shares.sum() * 10 == pytest.approx(3.0 + 11.5 + 1.0)
    assert shares[1] == pytest.approx(1.0)


def test_spread_labels_keep_order_gap_and_bounds():
    places = series.spread([5.0, 5.1, 5.05, 0.0, 9.9], 1.0, 0.0, 10.0)
    assert sorted(places) == [places[3], places[0], places[2], places[1], places[4]]
    assert all(b - a >= 1.0 - 1e-9 for a, b in itertools.pairwise(sorted(places)))
    assert min(places) >= 0.0
    assert max(places) <= 10.0


def test_labels_with_room_stay_where_they_want_to_be():
    assert series.spread([1.0, 4.0, 8.0], 1.0, 0.0, 10.0) == [1.0, 4.0, 8.0]


def test_a_text_box_goes_where_nothing_is_drawn():
    x = np.linspace(0, 1, 200)
    full = (x, np.zeros(200), np.full(200, 0.6))
    left, bottom = series.clear_place((0.5, 0.3), (0.2, 0.1), [full], [(0.0, 0.6, 0.6, 1.0)])
    assert bottom > 0.6
    assert left >= 0.6


def test_bar_times_never_touch_each_other():
    lane = lanes.Lane("alarm", [(0.0, 40.0), (100.0, 140.0), (700.0, 740.0), (900.0, 1900.0)], "red")
    texts = lanes.bar_texts(lane, Clock(0, 2000.0), 2000.0, lambda text: 150.0)
    spans = {"left": lambda x: (x, x + 150), "right": lambda x: (x - 150, x), "center": lambda x: (x - 75, x + 75)}
    taken = sorted(spans[align](x) for x, _, align in texts)
    assert len(taken) == 3  # the first bar's times find no room
    assert all(right <= left for (_, right), (left, _) in itertools.pairwise(taken))


def test_of_many_bars_only_the_first_and_the_last_carry_a_time():
    lane = lanes.Lane("alarm", [(1000.0 * n, 1000.0 * n + 400) for n in range(1, 9)], "red")
    texts = [text for _, text, _ in lanes.bar_texts(lane, Clock(0, 20000.0), 20000.0, lambda text: 500.0)]
    assert texts == ["first 00:16", "last 02:20"]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("pump1-jammed", "pump 1 jammed"),
        ("lead-stuck-wet", "lead float stuck wet"),
        ("mains-lost", "mains lost"),
        ("discharge-frozen", "discharge frozen"),
    ],
)
def test_a_fault_is_named_in_words(name, words):
    assert lanes.short(name) == words


@pytest.fixture(scope="module")
def close():
    """Give the sample night's two hours around the jam, cut out."""
    trace = sample.duplex()
    trace.contact_changes = {"lead": [(0.0, False), (sample.STUCK_FROM, True), (sample.STUCK_TO, False)]}
    return closeup.cut(trace, sample.JAM_FROM - 3600.0, sample.JAM_FROM + 3600.0)


def test_a_close_up_keeps_the_clock(close):
    assert Clock(close.begins_s, close.duration_s).at(3600.0) == "02:06"
    assert close.duration_s == 7200.0


def test_a_close_up_counts_only_what_lies_in_it(close):
    whole = sample.duplex()
    inside = [run for run in whole.runs if sample.JAM_FROM - 3600 < run.start_s < sample.JAM_FROM + 3600]
    assert sum(close.totals.starts) == len(inside) < sum(whole.totals.starts)
    assert close.totals.highest_m == max(close.level_m)
    assert close.totals.first_alarm_s is None  # the first alarm came before


def test_a_close_up_clips_faults_alarms_and_contacts(close):
    jam = next(fault for fault in close.faults if fault.name == "pump1-jammed")
    assert (jam.start_s, jam.end_s) == (3600.0, 7200.0)
    mains = next(alarm for alarm in close.alarms if alarm.name == "mains_lost")
    assert (mains.raised_s, mains.cleared_s) == (0.0, None)
    wet = sample.STUCK_TO - sample.JAM_FROM + 3600.0
    assert closeup.wet_spans(close, "lead") == [(pytest.approx(720.0), pytest.approx(wet))]


@pytest.mark.long
def test_a_close_up_shows_the_contacts_and_keeps_its_labels_apart(close):
    figure = strip.draw(close, US)
    assert "CONTACTS WET" in words_of(figure)
    assert overlaps(figure) == []


def test_the_usual_close_up_stays_within_the_run():
    trace = sample.empty("duplex")
    assert closeup.window(trace, 10.0) == (0.0, 2400.0)
    assert closeup.window(trace, trace.duration_s - 1) == (trace.duration_s - 2400.0, trace.duration_s)
    assert closeup.window(trace, 10000.0) == (8800.0, 11200.0)
