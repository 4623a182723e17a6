"""Draws a state machine as boxes and arrows that can be read in black and white.

States stand on an oval in the order that makes the arrows shortest; every arrow
bends to its own side, so that there and back never share a line; each arrow's
events stand on it where they cover the least.
"""

import itertools
import math

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, FancyBboxPatch
from matplotlib.path import Path

from host_sim.report.machines import edges_of, machine
from host_sim.report.strip import STYLE

SIZE_IN = (10.5, 7.4)
BOX_IN = (1.55, 0.5)
OVAL_IN = (3.7, 2.35)
CENTRE_IN = (5.25, 3.45)
BEND = 0.13
PORT_IN = 0.14
LETTER_IN, LINE_IN = 0.07, 0.15
POINTS = 81
# Above this many states trying every order takes too long, and the table's own order is kept.
MOST_PERMUTED = 7


def draw(table):
    """Return a matplotlib figure of a `machines.StateTable`, drawn from its `transitions` machine."""
    built = machine(table)
    edges = edges_of(built)
    places = layout(table.states, edges)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=SIZE_IN)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_xlim(0, SIZE_IN[0])
        axes.set_ylim(0, SIZE_IN[1])
        axes.axis("off")
        axes.text(0.3, SIZE_IN[1] - 0.35, table.title, fontsize=14, weight="bold", va="center")
        words = "drawn from the firmware's own table; an event without an arrow cannot occur in that state"
        axes.text(0.3, SIZE_IN[1] - 0.66, words, fontsize=9, color="0.3", va="center")
        _draw_edges(axes, places, edges)
        for state, (x, y) in places.items():
            _draw_state(axes, x, y, state, state == built.initial)
    return figure


def layout(states, edges):
    """Return {state: (x, y) in inches} on an oval, the first state at the left."""
    count = len(states)
    corners = []
    for index in range(count):
        angle = math.pi - 2 * math.pi * index / count
        corners.append((CENTRE_IN[0] + OVAL_IN[0] * math.cos(angle), CENTRE_IN[1] + OVAL_IN[1] * math.sin(angle)))
    pairs = {tuple(sorted((states.index(a), states.index(b)))) for a, b in edges if a != b}
    order = range(count)
    if count <= MOST_PERMUTED:
        order = min(
            ((0, *rest) for rest in itertools.permutations(range(1, count))),
            key=lambda rest: sum(math.dist(corners[rest.index(a)], corners[rest.index(b)]) for a, b in pairs),
        )
    return {states[state]: corners[place] for place, state in enumerate(order)}


def _draw_state(axes, x, y, name, first):
    width, height = BOX_IN
    box = FancyBboxPatch(
        (x - width / 2, y - height / 2),
        width,
        height,
        boxstyle="round,pad=0,rounding_size=0.2",
        facecolor="#E4EEF5",
        edgecolor="black",
        linewidth=2.4 if first else 1.2,
        zorder=5,
    )
    axes.add_patch(box)
    words = name.replace("_", "\n") if len(name) > 16 else name
    axes.text(x, y, words, ha="center", va="center", fontsize=10.5, weight="bold", zorder=6)


def _curve(start, end, bend):
    """Return POINTS points of a bent line from box to box, cut off where it leaves and meets the boxes."""
    centres = np.array(start), np.array(end)
    along = centres[1] - centres[0]
    left = np.array([-along[1], along[0]])
    # There and back leave and meet a box at different points of its side.
    aside = left / np.hypot(*left) * PORT_IN
    start, end = centres[0] + aside, centres[1] + aside
    control = (start + end) / 2 + bend * left
    t = np.linspace(0, 1, 201)[:, None]
    points = (1 - t) ** 2 * start + 2 * t * (1 - t) * control + t**2 * end
    outside = np.ones(len(points), bool)
    for centre in centres:
        reach = np.abs(points - centre)
        outside &= (reach[:, 0] > BOX_IN[0] / 2 + 0.03) | (reach[:, 1] > BOX_IN[1] / 2 + 0.03)
    kept = points[outside]
    return kept[np.linspace(0, len(kept) - 1, POINTS).astype(int)]


def _loop(place):
    """Return POINTS points of a loop on the side of a box that faces away from the middle."""
    x, y = place
    away = np.array([x - CENTRE_IN[0], y - CENTRE_IN[1]])
    side = 1.0 if away[1] >= -0.2 else -1.0
    t = np.linspace(math.pi, 0.0, POINTS)
    # On an outer box the loop stands at the outer end, out of the way of the arrows.
    aside = 0.0 if abs(away[0]) < 1.0 else math.copysign(0.38, away[0])
    centre = (x + aside, y + side * (BOX_IN[1] / 2 + 0.02))
    return np.column_stack([centre[0] + 0.34 * np.cos(t), centre[1] + side * 0.42 * np.sin(t)])


def _draw_edges(axes, places, edges):
    curves = {}
    for source, target in edges:
        curves[source, target] = (
            _loop(places[source]) if source == target else _curve(places[source], places[target], BEND)
        )
    taken = [(x - BOX_IN[0] / 2, y - BOX_IN[1] / 2, x + BOX_IN[0] / 2, y + BOX_IN[1] / 2) for x, y in places.values()]
    for points in curves.values():
        arrow = {"arrowstyle": "-|>", "mutation_scale": 13, "linewidth": 1.1, "color": "0.25", "zorder": 2}
        axes.add_patch(FancyArrowPatch(path=Path(points), **arrow))
    # The largest labels are the hardest to place, so they choose first.
    for pair, points in sorted(curves.items(), key=lambda item: -len(edges[item[0]])):
        words = "\n".join(event.replace("_", " ") for event in edges[pair])
        others = [other for key, other in curves.items() if key != pair]
        x, y, box = _label_place(points, words, taken, others, loop=pair[0] == pair[1])
        taken.append(box)
        axes.text(
            x,
            y,
            words,
            ha="center",
            va="center",
            fontsize=9,
            linespacing=1.05,
            zorder=4,
            bbox={"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none"},
        )


def _label_place(points, words, taken, others, loop):
    """Return (x, y, box) for words on a curve, where they cover the fewest boxes, labels and other curves."""
    lines = words.split("\n")
    width = max(len(line) for line in lines) * LETTER_IN + 0.12
    height = len(lines) * LINE_IN + 0.06
    best, best_score = None, float("inf")
    for index in [POINTS // 2] if loop else range(POINTS // 8, POINTS * 7 // 8):
        x, y = points[index]
        if loop:
            y += math.copysign(height / 2 + 0.04, y - points[0][1])
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        overlaps = sum(box[0] < c and a < box[2] and box[1] < d and b < box[3] for a, b, c, d in taken)
        crossed = sum(
            float(((p[:, 0] > box[0]) & (p[:, 0] < box[2]) & (p[:, 1] > box[1]) & (p[:, 1] < box[3])).sum())
            for p in others
        )
        score = 100 * overlaps + crossed + abs(index / POINTS - 0.4)
        if score < best_score:
            best, best_score = (x, y, box), score
    return best
