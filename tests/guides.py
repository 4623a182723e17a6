"""Guides to test: the demo's, and sites that leave things out or ask for other ones; what their drawings say."""

import functools
import re
from dataclasses import replace

import pytest
from duplexsump.control import settings as s

from host_sim.guide import page
from host_sim.guide.subject import Subject
from host_sim.site.load import load_site, packaged

BOTH = [(board, expander) for board in ("pico", "esp32") for expander in (False, True)]


def changed(site, **values):
    """A site with other settings, by their names in `settings`."""
    record = list(site.settings)
    for name, value in values.items():
        record[getattr(s, name)] = value
    return replace(site, settings=record)


def demo():
    return load_site(packaged("demo"))


def loop():
    """With a level transmitter."""
    return changed(demo(), TRANSMITTER=1)


def bare():
    """Without current sensors, mains relay, charger's contact, and without the lag float."""
    site = changed(demo(), SENSING=s.SENSE_NOTHING, MAINS_FITTED=0, CHARGER_FITTED=0)
    return changed(site, FITTED=site.settings[s.FITTED] & ~4)


def lines():
    """Both pumps at line voltage, one at 230 V and 17 A; a level transmitter; the controller's own battery."""
    site = demo()
    second = replace(site.pumps[0], motor=replace(site.pumps[0].motor, volts=230.0, rated_a=17.0))
    supply = replace(site.supply, battery=None, charger=None)
    return changed(replace(site, pumps=(site.pumps[0], second), supply=supply), TRANSMITTER=1, SENSOR_RANGE_2_MA=75_000)


SITES = {"demo": demo, "loop": loop, "bare": bare, "lines": lines}
# Pumps whose motor brings its thermal contact out.
THERMAL = {"demo": (1, 2), "loop": (), "bare": (1, 2), "lines": (1, 2)}
# Every board with every site, and both kinds of relay module.
ALL = [(name, board, expander, (board == "pico") == expander) for name in SITES for board, expander in BOTH]

QUICK = [("loop", "esp32", True, False), ("bare", "pico", False, False), ("lines", "pico", True, True)]
# For a test of its own each: the demo on every board and each other site once; the rest in the long run.
CASES = [pytest.param(*case, marks=() if case[0] == "demo" or case in QUICK else pytest.mark.long) for case in ALL]


@functools.cache
def subject(board, expander, active_low=False, name="demo"):
    """The Subject of a guide."""
    return Subject(SITES[name](), board, expander, active_low, THERMAL[name])


@functools.cache
def html_of(board, expander, active_low=False, name="demo"):
    """The guide as HTML."""
    site = subject(board, expander, active_low, name).site
    return page.as_html(site, board, expander, active_low, thermal=THERMAL[name])


def drawings(board, expander, active_low=False, name="demo"):
    """{name of a drawing: the texts in it, in order}."""
    found = {}
    html = html_of(board, expander, active_low, name)
    for title, body in re.findall(r'<svg [^>]*aria-label="([^"]+)">(.*?)</svg>', html, re.DOTALL):
        texts = re.findall(r"<text.*?</text>", body, re.DOTALL)
        found[title] = [re.sub(r"<[^>]+>", "", text).strip() for text in texts]
    return found


def drawn(*which, **how):
    """Every text of every drawing of a guide."""
    return [text for texts in drawings(*which, **how).values() for text in texts]
