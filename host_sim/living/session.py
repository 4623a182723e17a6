"""A session: a site, and the deeds done to it so far.

The deeds are all there is: they are carried out by the same schedule, at the
same ticks, as a site file's faults and actions.  So a session saved as a site
file gives the same journal in `sumpbench night`, and going back to an instant
is the same run again with the deeds until then.
"""

import bisect
import copy
import hashlib
from dataclasses import replace
from pathlib import Path

import tomli_w

from host_sim.errors import InputError
from host_sim.living import deeds
from host_sim.living.why import Decisions
from host_sim.plant.plant import TICK_MS
from host_sim.run.closed_loop import Night
from host_sim.run.controllers import Duplex, FloatSwitch, single_site
from host_sim.run.journal import Journal, firmware_checksum
from host_sim.site import effective, faults
from host_sim.site.load import read_data

LONGEST_S = 30 * 86400.0  # a session's end
CURVE_S = 5.0  # between two points of a quiet curve
HELD_S = 60.0  # a saved session goes on for this long after its last deed at least
MOST_DEEDS = 2000


class Pit:
    """One pit of a session while it is being simulated: the pair under the firmware, or one pump on a float switch."""

    def __init__(self, site, seed, control):
        self.night = Night(site, seed, control, site.faults)
        self.night.recorder.spacing_s = CURVE_S
        self.now_ms = 0
        self.decisions = Decisions() if control.name == "duplex" else None
        self.made = {}  # {(name, at_ms): Fault} that persons made
        self.next_ms = self.night.instant(0)

    def step(self):
        """Go on to the next instant at which something may happen."""
        self.night.recorder.fill(self.next_ms / 1000.0)
        self.now_ms = self.next_ms
        self.next_ms = self.night.instant(self.now_ms)
        if self.decisions is not None:
            self.decisions.look(self.now_ms, self.night)

    def advance(self, until_ms):
        """Go on, event by event, up to and including an instant."""
        while self.next_ms <= until_ms:
            self.step()
        self.now_ms = max(self.now_ms, until_ms)

    def do(self, done):
        """Have a deed carried out when its instant comes."""
        schedule = self.night.schedule
        if done.what == "break":
            start_s = done.at_ms / 1000.0
            fault = replace(faults.parse_fault(done.value), start_s=start_s, end_s=None)
            self.made[fault.name, done.at_ms] = fault
            schedule.begin_at(done.at_ms, fault)
        elif done.what == "repair":
            began = max(at_ms for name, at_ms in self.made if name == done.value and at_ms < done.at_ms)
            schedule.end_at(done.at_ms, self.made[done.value, began])
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
        self.hand_ms = 0  # the last deed that was not planned ahead
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

    def twin(self, control):
        """Return another Pit with the same site and deeds, under `control`, standing at the beginning."""
        pit = Pit(self.site, self.seed, control)
        for done in self.deeds:
            pit.do(done)
        return pit

    def broken(self):
        """Return {name: text} of the faults that persons made by now and have not repaired."""
        until_ms = max(self.now_ms, self.hand_ms)
        return _broken([done for done in self.deeds if done.at_ms <= until_ms])

    def planned(self):
        """Return the Deeds that are still to come."""
        return [done for done in self.deeds if done.at_ms > max(self.now_ms, self.hand_ms)]

    def do(self, what, value="", at_ms=None):
        """Do something at the next free tick, or at the first free one from `at_ms` on; return the Deed.

        Raises InputError for what cannot be done, and changes nothing then.
        """
        taken = {done.at_ms for done in self.deeds}
        first = self.now_ms // TICK_MS * TICK_MS + TICK_MS
        when = max(first, first if at_ms is None else -(-at_ms // TICK_MS) * TICK_MS)
        if at_ms is None:
            when = max(when, self.hand_ms + TICK_MS)
        while when in taken:
            when += TICK_MS
        if when / 1000.0 >= LONGEST_S:
            raise InputError(f"a session ends after {LONGEST_S / 86400.0:.0f} days: nothing can be done after that")
        if len(self.deeds) >= MOST_DEEDS:
            raise InputError(f"{MOST_DEEDS} deeds are the most of a session: save it, or go back")
        done = deeds.deed(when, what, value)
        if what == "break":
            self._may_break(replace(faults.parse_fault(value), start_s=when / 1000.0))
        after = list(self.deeds)
        bisect.insort(after, done, key=lambda one: one.at_ms)
        _broken(after)
        self.deeds = after
        if at_ms is None:
            self.hand_ms = when
        self._do(done)
        return done

    def _may_break(self, fault):
        refusal = effective.refusal(fault, self.site)
        if refusal:
            raise InputError(refusal)
        if fault.kind.at_once:
            raise InputError(f'"{fault.name}" happens at one instant: write it into a site file')

    def back_to(self, at_ms):
        """Go back to an earlier instant: deeds after it, done or planned, are undone."""
        self.rewind(at_ms)
        self.advance(at_ms)

    def rewind(self, at_ms):
        """Stand at the beginning again with the deeds until an instant, to be advanced to it."""
        if not 0 <= at_ms <= self.now_ms:
            raise InputError(f"cannot go back to {at_ms} ms: 0 to {self.now_ms} is behind us")
        self.deeds = [done for done in self.deeds if done.at_ms <= at_ms]
        self.hand_ms = min(self.hand_ms, at_ms)
        self._fresh()

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


    def digest(self):
        """Return a checksum over the journal so far, SHA-256 in hex."""
        text = "\n".join(map(repr, self.pair.night.control.records))
        return hashlib.sha256(text.encode()).hexdigest()


def _broken(deeds_in_order):
    # {name: text} of what is broken after these deeds.  Raises InputError where their order cannot be.
    found = {}
    for done in deeds_in_order:
        if done.what == "break":
            if done.fault in found:
                raise InputError(f'"{done.fault}" is there already, or will be: repair it first')
            found[done.fault] = done.value
        elif done.what == "repair":
            if done.fault not in found:
                raise InputError(f'"{done.fault}" is not broken here')
            del found[done.fault]
    return found


def _quiet(data):
    scenario = data.get("scenario", {})
    scenario.pop("faults", None)
    data.pop("action", None)
    flows = data.get("inflow", [])
    calm = [flow for flow in flows if flow.get("kind") == "constant"]
    if flows:
        data["inflow"] = calm or [{"kind": "constant", "rate": "0 gpm"}]
