"""What a log can tell and what it cannot: from its rows, resolution, noise and channels, and the site's own cycles.

A pit cycles fastest where the inflow is half of what the pump moves: fill and
draw-down then last V / (Q / 2) each, V being what lies between the stop and the
start level.  A straight line takes three rows, so a log in which a half-cycle
holds fewer shows no fill and no draw-down, and slower cycles cannot be told
from fast ones that it samples now and then (aliasing; C. E. Shannon,
"Communication in the presence of noise", Proc. IRE 37, 1949).  What follows
from the water balance alone holds all the same.
"""

from dataclasses import dataclass, field

import numpy as np

from host_sim.replay.segments import LEAST_ROWS, TURN_SIGMAS, noise_m
from host_sim.report.clock import lasting
from host_sim.report.units import US

HINGE_ROWS = 0.2  # of a draw-down: rows further apart than this do not show where a fill bends; our own choice
FEW_ROWS = 0.3  # of a draw-down: from rows further apart than this no pump is called weak; our own choice
FINE_ROWS = 8  # rows in a draw-down from which its slope may establish something; our own choice
FINE_SIGMAS = 25.0  # of noise in the travel from stop to start, for the same
CURVE = 1.15  # a pump moves no more than this times its curve; common practice, no source
MOST_NOISE_M = 0.015  # coarse rows take the water's own travel for noise; no level reading scatters more than this
LATE_M = 0.02  # a start this far above the usual one is late; our own choice
SWITCH_S = 1.5  # a contact's debounce and a tick
WORDS = {"leaking check valve": "a leaking check valve",
         "late start: float": "a lead float that hangs while the lag float starts a pump"}  # fmt: skip
# Of contacts alone nobody knows whether a pump ran.
UNSEEN_BY_CONTACTS = ("not pumping", "late start", "not keeping up", "leaking check valve", "low stop")


@dataclass
class Limits:
    """What a log can tell: `resolved` where its cycles show, `fine` where a slope may establish something.

    `spacing_s`, `draw_down_s` and `cycle_s` in seconds, `noise_m`, `step_m` and
    `travel_m` in metres; nan where the log or the site has none.  `reason` says
    why the cycles do not show, or "".
    """

    spacing_s: float
    draw_down_s: float
    cycle_s: float
    noise_m: float
    step_m: float
    travel_m: float
    resolved: bool
    fine: bool
    reason: str
    contacts_only: bool = False
    longest_gap_s: float = 0.0
    gap_at_s: float = 0.0
    runs_only: bool = False
    unseen: tuple = ()  # kinds of findings that this log does not show, though its cycles do
    units: object = field(default=US, repr=False)

    @property
    def needed_s(self):
        """The longest spacing at which every cycle of this pit shows."""
        return self.cycle_s / (2.0 * LEAST_ROWS)


def too_coarse(spacing_s, site, rates, times=1.0):
    """Return why rows so far apart do not show every cycle of a Site's pit (in `times` LEAST_ROWS), or ""."""
    _, draw, cycle = _cycle(site, rates)
    needed = cycle / (2.0 * LEAST_ROWS * times)
    if not spacing_s > needed:
        return ""
    return (f"one row every {spacing_s:.0f} s; this pit draws down in {draw:.0f} s and can cycle every {cycle:.0f} s, "
            f"which takes a row every {needed:.0f} s or less")  # fmt: skip


def _cycle(site, rates):
    # (travel from stop to start m, draw-down s, shortest cycle s), nan where the site has no such contacts.
    off, lead = site.contacts[:2]
    if off is None or lead is None:
        return np.nan, np.nan, np.nan
    held = site.pit.volume_m3(lead.wet_m) - site.pit.volume_m3(off.dry_m)
    return lead.wet_m - off.dry_m, held / rates.nominal(), 4.0 * held / rates.nominal()


def limits_of(log, site, rates, units=US):
    """Return the Limits of a Log of a Site whose pumps move what `inflow.Rates` say."""
    travel, draw, cycle = _cycle(site, rates)
    steps = np.diff(log.time_s)
    usual = steps[steps <= 5.0 * np.median(steps)] if len(steps) else np.array([0.0])
    spacing = log.interval_s if log.held else float(np.quantile(usual, 0.9))
    noise, step = 0.0, 0.0
    if log.level_m is not None and not log.levels_at_contacts_only:
        good = ~np.isnan(log.level_m)
        sigma = noise_m(log.time_s[good], log.level_m[good])
        noise, step = float(sigma), sigma.step
    longest = int(np.argmax(steps)) if len(steps) else 0
    found = Limits(spacing, float(draw), float(cycle), noise, step, float(travel), True, True, "",
                   log.levels_at_contacts_only, float(steps[longest]) if len(steps) else 0.0,
                   float(log.time_s[longest]), units=units)  # fmt: skip
    if log.level_m is None:
        found.runs_only, found.resolved, found.fine = True, False, False
        found.reason = "no level and no contact was logged, only pump states"
        return found
    if found.contacts_only and not any(values is not None for values in log.pumps):
        found.unseen = UNSEEN_BY_CONTACTS
    if log.every_change:
        return found
    # Of contacts alone a turn lies anywhere between two rows, so a half-cycle takes twice as many.
    found.reason = too_coarse(spacing, site, rates, 2.0 if found.contacts_only else 1.0)
    if not found.reason and not log.levels_at_contacts_only and travel < 2.0 * TURN_SIGMAS * noise:
        found.reason = (f"the readings scatter by {units.level.text(noise)} and the water travels only "
                        f"{units.level.text(travel)} between stop and start")  # fmt: skip
    if spacing > HINGE_ROWS * draw and not found.unseen:
        found.unseen = ("leaking check valve",)
    if not found.contacts_only and _hides_lag(site, rates, spacing, noise):
        found.unseen = (*found.unseen, "late start: float")
    found.resolved = not found.reason
    found.fine = found.resolved and draw >= FINE_ROWS * spacing and not travel < FINE_SIGMAS * noise
    return found


def _hides_lag(site, rates, spacing_s, noise_m):
    # Whether water that fills at half of what a pump moves passes from the lead to the lag float between two rows:
    # then a start at the one looks like a start at the other.
    lead, lag = site.contacts[1:3]
    if lead is None or lag is None:
        return False
    rise = 0.5 * rates.nominal() / site.pit.area_m2(lead.wet_m)
    return late_margin_m(rise, spacing_s, noise_m) > lag.wet_m - lead.wet_m


def late_margin_m(rise_m_s, spacing_s, noise_m):
    """Return how far above the usual level a start must show to be a late one, where water rises so fast."""
    return LATE_M + 3.0 * noise_m + rise_m_s * (spacing_s + SWITCH_S)


def _small(metres, units):
    return f"{metres / 0.0254:.2f} in" if units is US else f"{metres * 1000.0:.1f} mm"


def lines(limits, account):
    """Return what the log can and cannot tell, as lines: the first that a reader sees."""
    log, units = account.log, limits.units
    rows = "a row at every change" if log.every_change else f"one row every {limits.spacing_s:g} s"
    if log.held:
        rows = f"rows only at changes, {limits.spacing_s:g} s or more apart"
    have = [rows]
    if limits.step_m:
        have.append(f"readings in steps of {_small(limits.step_m, units)}")
    if limits.noise_m and limits.resolved:  # of coarse rows the water's own travel cannot be told from noise
        have.append(f"scatter {_small(limits.noise_m, units)} (standard deviation)")
    found = [f"This log: {', '.join(have)}; longest time without a row {lasting(limits.longest_gap_s)}."]
    can = ["starts and run time"] if any(v is not None for v in log.pumps) and log.every_change else []
    if log.level_m is not None and not log.levels_at_contacts_only:
        can += ["the highest water that was read", "time above each contact", "whether the floor was wet when read"]
    cannot = []
    if limits.runs_only:
        every = limits.spacing_s <= limits.draw_down_s or log.every_change
        can = ["starts, run time, the longest run and rest" if every else "at least so many starts, bounds on run time",
               "bounds on the inflow by water balance and the pumps' curve"]  # fmt: skip
        cannot = ["the water's level", "whether the floor got wet", "what the pumps delivered",
                  "whether floats and valves worked"]  # fmt: skip
    elif limits.resolved:
        can += ["each fill and draw-down", "the inflow with a band", "what the pumps delivered"]
        if not limits.fine:
            cannot.append("a pump's or check valve's condition for sure (few rows in each draw-down)")
    else:
        can.append("bounds on the inflow by water balance and the pumps' curve")
        cannot += ["starts and draw-downs", "what the pumps delivered", "a leaking check valve", "short cycling",
                   "why a pump did not start"]  # fmt: skip
    if limits.contacts_only:
        cannot.append("the water between the contacts")
    if limits.unseen and limits.resolved and not limits.contacts_only:
        cannot += [WORDS[kind] for kind in limits.unseen]
    elif limits.unseen and limits.resolved:
        cannot += ["whether a pump ran and kept up", "a leaking check valve",
                   "a pump that runs on below its stop level"]  # fmt: skip
    found.append(f"It can tell: {', '.join(can)}.")
    if cannot:
        found.append(f"It cannot tell: {', '.join(cannot)}{': ' + limits.reason if limits.reason else ''}.")
    return found


def above_contacts(log, site):
    """Return [(name of a contact, seconds above its trip height by the rows)], lowest first; a row counts half-way."""
    if log.level_m is None or log.levels_at_contacts_only:
        return []
    good = ~np.isnan(log.level_m)
    time, level = log.time_s[good], log.level_m[good]
    found = []
    for name, contact in zip(("off", "lead", "lag", "high"), site.contacts, strict=True):
        if contact is not None and len(time) > 1:
            over = level >= contact.wet_m
            found.append((name, float((np.diff(time) * (over[1:].astype(float) + over[:-1])).sum() / 2.0)))
    return found
