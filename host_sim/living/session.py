"""A session: a site, and the deeds done to it so far.

The deeds are all there is: they are carried out by the same schedule, at the
same ticks, as a site file's faults and actions.  So a session saved as a site
file gives the same journal in `sumpbench night`, and going back to an instant
is the same run again with the deeds until then.
"""

import copy
from dataclasses import replace
from pathlib import Path

import tomli_w

from host_sim.errors import InputError
from host_sim.living import deeds
from host_sim.plant.plant import TICK_MS
from host_sim.run.closed_loop import Night
from host_sim.run.controllers import Duplex, FloatSwitch, single_site
from host_sim.run.journal import Journal, firmware_checksum
from host_sim.site import effective, faults
from host_sim.site.load import read_data

LONGEST_S = 30 * 86400.0  # a session's end
CURVE_S = 5.0  # between two points of a quiet curve
HELD_S = 60.0  # a saved session goes on for this long after its last deed at least


class Pit:
    """One pit of a session while it is being simulated: the pair under the firmware, or one pump on a float switch."""

    def __init__(self, site, seed, control):
        self.night = Night(site, seed, control, site.faults)
        self.night.recorder.spacing_s = CURVE_S
        self.now_ms = 0
        self.active = {}  # faults that persons made, by name
        self.next_ms = self.night.instant(0)

    def advance(self, until_ms):
        """Go on, event by event, up to and including an instant."""
        night = self.night
        while self.next_ms <= until_ms:
            night.recorder.fill(self.next_ms / 1000.0)
            self.now_ms = self.next_ms
            self.next_ms = night.instant(self.now_ms)
        self.now_ms = max(self.now_ms, until_ms)

    def do(self, done):
        """Have a deed carried out when its instant comes."""
        schedule = self.night.schedule
        if done.what == "break":
            start_s = done.at_ms / 1000.0
            fault = replace(faults.parse_fault(done.value), start_s=start_s, end_s=None)
            self.active[fault.name] = fault
            schedule.begin_at(done.at_ms, fault)
        elif done.what == "repair":
            schedule.end_at(done.at_ms, self.active.pop(done.value))
        else:
            schedule.act_at(deeds.action_of(done))
        self.next_ms = min(self.next_ms, done.at_ms)


class Session:
    """A living pit.  `data` is a parsed site file; files that it names lie in `folder`.

    `own` False leaves out the scenario's own faults, actions and storms, so
    that only the constant inflow is there to begin with.  Raises InputError
    for a site that cannot be read.
    """

    def __init__(self, data, folder=Path(), source="site", own=True):
        self.data = copy.deepcopy(data)
        if not own:
            _quiet(self.data)
        self.folder, self.source = folder, source
        self.site = replace(read_data(self.data, folder, source), duration_s=LONGEST_S)
        self.seed = self.site.seed
        self.deeds = []
        self._fresh()

    def _fresh(self):
        self.pair = Pit(self.site, self.seed, Duplex(self.site))
        single = single_site(self.site)
        self.single = Pit(single, self.seed, FloatSwitch(single))
        for done in self.deeds:
            self._do(done)

    def _do(self, done):
        for pit in (self.pair, self.single):
            pit.do(done)

    @property
    def now_ms(self):
        """The instant that the session stands at."""
        return self.pair.now_ms

    def advance(self, until_ms):
        """Go on to an instant, at the end of the session at most."""
        until_ms = min(until_ms, round(LONGEST_S * 1000.0) - TICK_MS)
        self.pair.advance(until_ms)
        self.single.advance(until_ms)

    def next_event_ms(self):
        """Return when something changes next, as far as is known now."""
        return max(self.pair.next_ms, self.now_ms + TICK_MS)

    def broken(self):
        """Return {name: text} of the faults that persons made and have not repaired."""
        found = {}
        for done in self.deeds:
            if done.what == "break":
                found[faults.parse_fault(done.value).name] = done.value
            elif done.what == "repair":
                del found[done.value]
        return found

    def do(self, what, value=""):
        """Do something at the next free tick; return the Deed.  Raises InputError for what cannot be done."""
        last = self.deeds[-1].at_ms if self.deeds else 0
        at_ms = max(self.now_ms // TICK_MS * TICK_MS, last) + TICK_MS
        done = deeds.deed(at_ms, what, value)
        if what == "break":
            fault = replace(faults.parse_fault(value), start_s=at_ms / 1000.0)
            if fault.name in self.broken():
                raise InputError(f'"{fault.name}" is there already: repair it first')
            refusal = effective.refusal(fault, self.site)
            if refusal:
                raise InputError(refusal)
            if fault.kind.at_once:
                raise InputError(f'"{fault.name}" happens at one instant: write it into a site file')
        elif what == "repair" and value not in self.broken():
            raise InputError(f'"{value}" is not broken here')
        self.deeds.append(done)
        self._do(done)
        return done

    def back_to(self, at_ms):
        """Go back to an earlier instant: deeds after it are undone."""
        if not 0 <= at_ms <= self.now_ms:
            raise InputError(f"cannot go back to {at_ms} ms: 0 to {self.now_ms} is behind us")
        self.deeds = [done for done in self.deeds if done.at_ms <= at_ms]
        self._fresh()
        self.advance(at_ms)

    # What is kept.

    def site_data(self):
        """Return the session as a parsed site file: the site, with all that was done, up to now."""
        data = copy.deepcopy(self.data)
        texts, tables = deeds.written(self.deeds)
        scenario = data.setdefault("scenario", {})
        last = self.deeds[-1].at_ms / 1000.0 + HELD_S if self.deeds else HELD_S
        scenario["lasts"] = f"{max(last, self.now_ms // TICK_MS / 10.0):.1f} s"
        scenario["faults"] = [*scenario.get("faults", []), *texts]
        data["action"] = [*data.get("action", []), *tables]
        return data

    def site_text(self):
        """Return the session as the text of a site file."""
        return tomli_w.dumps(self.site_data())

    def journal(self):
        """Return the Journal so far."""
        return Journal(list(self.site.settings), firmware_checksum(), self.site.name, self.seed, self.now_ms,
                       self.pair.night.control.records)  # fmt: skip


def _quiet(data):
    scenario = data.get("scenario", {})
    scenario.pop("faults", None)
    data.pop("action", None)
    flows = data.get("inflow", [])
    calm = [flow for flow in flows if flow.get("kind") == "constant"]
    if flows:
        data["inflow"] = calm or [{"kind": "constant", "rate": "0 gpm"}]
