"""Seeded defects: firmware with one rule broken, to see that the procedure for that rule fails on it.

A procedure that never fails proves nothing.  Each defect is one small change of
the firmware's text, such as a slip of the pen would make: a rule is broken, the
controller goes on working.  It is made in a copy that goes onto the flash of a
virtual board.

    python -m hil.acceptance.defects [NAME of a procedure ...]

plants them one after another and tells which are caught.
"""

import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from duplexsump.station import registers as r

from hil.acceptance import procedure, runner
from hil.bench.bench import Bench
from hil.bench.verdict import FAIL
from hil.kits.virtual import VirtualKit
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError

PACKAGE = "lib/duplexsump"


@dataclass(frozen=True)
class Defect:
    """One defect: the procedure that must fail on it, the file in the firmware's package, the text changed."""

    procedure: str
    broken: str  # what is wrong with such a controller, in words
    file: str
    good: str
    bad: str


@dataclass(frozen=True)
class Outcome:
    """The result of a procedure on a defect: its entry of the record, and whether the firmware still ran."""

    defect: Defect
    entry: dict
    stopped: str  # why the firmware stopped, "" where it went on working

    def caught(self):
        """Return whether the procedure failed on a controller that works except for the broken rule."""
        return self.entry["verdict"] == FAIL and not self.stopped

    def failed(self):
        """Return what failed in the procedure, as texts."""
        items = self.entry["measurements"] + self.entry["checks"]
        why = [self.entry["why"]] if self.entry["why"] else []
        return [item["name"] for item in items if item["verdict"] == FAIL] + why


DEFECTS = (
    Defect("alarm_test", "silence must be held for 6 s before the horn test begins",
           "control/buttons.py", "HOLD_MS = const(3000)", "HOLD_MS = const(6000)"),
    Defect("dead_controller", "the alarm relay is energized on alarm, so that a dead controller raises none",
           "control/alarms.py", "self.relay = 1 - test", "self.relay = test"),
    Defect("power_up_delay", "after a power-up the pumps do not count as just stopped",
           "control/gate.py", "        self._stopped(0)\n        self._stopped(1)\n", ""),
    Defect("power_up_delay", "the power-up delay is ten times as long",
           "control/gate.py", "tm.BOOT, self.settings[s.BOOT_HOLD_MS]", "tm.BOOT, 10 * self.settings[s.BOOT_HOLD_MS]"),
    Defect("watchdog_reset", "a float that is wet at power-up is not seen until it moves",
           "control/contacts.py", "self.wet = word\n", "self.wet = 0\n"),
    Defect("floats_in_order", "the lag pump stops when lag turns dry",
           "control/demand.py", "return self.demand or 1 if self._others()", "return 1 if self._others()"),
    Defect("floats_out_of_order", "of two floats out of order the wrong one is suspect",
           "control/belief.py", "self._fewest(wet, self.rising)", "self._fewest(wet, 0)"),
    Defect("bouncing_contact", "contacts are not debounced",
           "control/contacts.py", "tm.DEBOUNCE + i, self.settings[s.DEBOUNCE_MS]", "tm.DEBOUNCE + i, 100"),
    Defect("chattering_contact", "a contact that chatters is not held wet until it is steady",
           "control/contacts.py", "return word | self.mask", "return word"),
    Defect("alternation", "the same pump leads every time",
           "control/pair.py", "self.turn = 1 - self.led", "self.turn = self.led"),
    Defect("lag_start", "lag wet does not call the second pump",
           "control/demand.py", "if self.belief.wet & (LAG | HIGH):", "if self.belief.wet & HIGH:"),
    Defect("rest_between_starts", "with lead wet a pump rests no longer than in a flood",
           "control/gate.py", "return at[tm.REST_LAG + n] < 0", "return at[tm.REST_FLOOD + n] < 0"),
    Defect("rest_between_starts", "two pumps start in the same instant",
           "control/gate.py", "self.timers.arm(tm.SPACING, self.settings[spacing])", "self.timers.stop(tm.SPACING)"),
    Defect("long_run", "a long run hands over with the water at lag only",
           "control/pair.py", "overdue and not self.gate.contacts & LAG", "overdue and self.gate.contacts & LAG"),
    Defect("falling_behind", "pumps that do not keep up raise no alarm",
           "control/watch.py", "c.pair.behind() or _helpless(c)", "_helpless(c)"),
    Defect("falling_behind", "both pumps running on and on raise no alarm",
           "control/pair.py", "return self.both_long or self.lag_long or self.lead_long",
           "return self.lag_long or self.lead_long"),
    Defect("falling_behind", "lag wet for a minute raises no alarm",
           "control/pair.py", "return self.both_long or self.lag_long or self.lead_long",
           "return self.both_long or self.lead_long"),
    Defect("falling_behind", "water at lead on and on raises no alarm",
           "control/pair.py", "return self.both_long or self.lag_long or self.lead_long",
           "return self.both_long or self.lag_long"),
    Defect("high_water", "silence lets the alarm relay pull in again with the water still high",
           "control/alarms.py", "if state != LATCHED_ACKNOWLEDGED:", "if state == UNACKNOWLEDGED:"),
    Defect("high_water", "the horn does not sound for an alarm",
           "control/alarms.py", "self.horn = 1 if self.loud or self.late or test else 0",
           "self.horn = 1 if self.late or test else 0"),
    Defect("alarm_reminders", "a silenced alarm that stays active does not remind",
           "control/alarms.py", "self._event(i, REMIND)", "pass"),
    Defect("alarm_reminders", "a cleared, unacknowledged alarm chirps after a minute",
           "control/alarms.py", "600000, 10000, 1190000", "60000, 10000, 1190000"),
    Defect("alarm_reminders", "a silenced alarm that recurs sounds at once",
           "control/alarms.py", "if self.quiet[i] < 0:", "if self.quiet[i] < 0 or state == UNACKNOWLEDGED:"),
    Defect("hand_off_auto", "OFF is read as AUTO",
           "control/selector.py", "return self.at[n] == SELECT_OFF", "return False"),
    Defect("hand_off_auto", "HAND has no limit",
           "control/selector.py", "            self.spent |= 1 << n\n            self.overrun |= 1 << n",
           "            self.overrun |= 1 << n"),
    Defect("start_proof", "a start without current counts as proved",
           "control/pump.py", "self._no_current(FAILED_START)", "self.event(PROVED)"),
    Defect("run_lost", "a current lost in mid-run is not noticed",
           "control/pump.py", "self._no_current(RUN_LOST)", "pass"),
    Defect("dry_run_trip", "a not-pumping trip is not cleared when the water rises",
           "control/controller.py", "water = self.contacts.rose & (LEAD | LAG | HIGH) and", "water = False and"),
    Defect("dry_run_trip", "underload is not noticed",
           "control/pump.py", "self._under(current == CURRENT_UNDER)", "self._under(False)"),
    Defect("dry_run_empty_pit", "an empty pit is taken for a pump fault",
           "control/pair.py", "if not self.belief.wet & (LEAD | LAG | HIGH) and not covered:", "if False:"),
    Defect("lockout", "one more failure than is allowed before the lockout",
           "control/pump.py", "self.failures >= self.settings[s.RETRIES]", "self.failures > self.settings[s.RETRIES]"),
    Defect("flood_retries", "in a flood the same pump is retried every time",
           "control/flood.py", "self.turn = self.turn if was else 1 - n", "self.turn = n"),
    Defect("flood_retries", "a retry that stays loaded does not release the pump",
           "control/pump.py", "            if self.held:\n                self.release()\n", ""),
    Defect("flood_retries", "with high wet a missing current ends a try",
           "control/pump.py", "if self.held and self.flooded:\n            self.silent = 1\n        else:",
           "if False:\n            self.silent = 1\n        else:"),
    Defect("flood_retries", "the other pump's try waits for the next of the times",
           "control/flood.py", "self.second = 1 if both else 0", "self.second = 0"),
    Defect("overload", "overcurrent does not trip",
           "control/pump.py", "self._over(current >= CURRENT_OVER)", "self._over(current > CURRENT_LOCKED)"),
    Defect("thermal_contact", "no rest follows the closing of a thermal contact",
           "control/pump.py", "t.arm(tm.RETRY + n, self.settings[s.RETRY_MS])", "t.arm(tm.RETRY + n, _SECOND_MS)"),
    Defect("moisture", "the moisture alarm clears without a reset",
           "control/alarm_table.py", '("pump_1_moisture", LOW, 1,', '("pump_1_moisture", LOW, 0,'),
    Defect("welded_relay", "a pump that will not stop does not count as running",
           "control/pair.py", "(self.selectors.hand(n) and out & (1 << n)) or self._runs_on(n):",
           "self.selectors.hand(n) and out & (1 << n):"),
    Defect("off_float", "an off float that never moves is never suspect",
           "control/demand.py", "if self.stops >= 2:", "if self.stops >= 20:"),
    Defect("off_float", "pumping does not stop by time",
           "control/demand.py", "if t.rang[tm.DRAW]:", "if False:"),
    Defect("lead_float", "underload of both pumps is not taken for an empty pit",
           "control/pair.py", "if self.not_pumping & ~bit and self.belief.vouchers() < 2:", "if False:"),
    Defect("lag_float", "high wet does not call the second pump",
           "control/demand.py", "if self.belief.wet & (LAG | HIGH):", "if self.belief.wet & LAG:"),
    Defect("high_float", "a suspect high float raises no high-water alarm",
           "control/watch.py", "at.HIGH_WATER, c.contacts.wet & HIGH", "at.HIGH_WATER, c.belief.wet & HIGH"),
    Defect("float_cable", "floats that turn together raise no wiring alarm",
           "control/belief.py", "if together & (together - 1):", "if together > 7:"),
    Defect("blind_pumping", "the rests between blind runs do not grow",
           "control/blind.py", "self.rung = min(rung + 1, 4)", "self.rung = 0"),
    Defect("transmitter_failure", "a loop current above 21 mA is taken for a level",
           "control/bands.py", "FAIL_HIGH_UA = const(21000)", "FAIL_HIGH_UA = const(22000)"),
    Defect("transmitter_failure", "a frozen transmitter is not noticed",
           "control/transmitter.py", "self.frozen = self.watching", "self.frozen = 0"),
    Defect("mains_failure", "returning mains count at once",
           "control/supply.py", "t.arm(tm.SETTLE, self.settings[s.MAINS_SETTLE_MS])", "t.arm(tm.SETTLE, 100)"),
    Defect("mains_failure", "the mains-lost alarm comes a minute late",
           "control/supply.py", "grace_ms = self.settings[s.MAINS_GRACE_MS]",
           "grace_ms = 6 * self.settings[s.MAINS_GRACE_MS]"),
    Defect("mains_failure", "with lag wet a lost mains is told no sooner",
           "control/supply.py", "self.lost or self.lag", "self.lost"),
    Defect("mains_failure", "with lag wet a mains that is not seen is not used",
           "control/supply.py", "if not self.mains and (high or lag):", "if not self.mains and high:"),
    Defect("mains_failure", "high wet calls no sooner than lag where the mains is not seen",
           "control/supply.py", "if not self.mains and (high or lag):", "if not self.mains and lag:"),
    Defect("mains_failure", "with high wet returning mains count no sooner",
           "control/supply.py", "high and not t.running(tm.SETTLE_FLOOD)", "False"),
    Defect("battery_backup", "the battery pump stops before the mains pump is proved running",
           "control/pair.py", "if self.take_back and self.pumps[primary].state == pm.RUNNING:",
           "if self.take_back and self.pumps[primary].on():"),
    Defect("battery_low", "a battery under load is judged by the limit at rest",
           "control/bands.py", "s.BATTERY_LOADED_MV if loaded else s.BATTERY_LOW_MV", "s.BATTERY_LOW_MV"),
    Defect("battery_low", "a dead battery is not used although the water is high",
           "control/supply.py", "if high and self.spent:", "if False:"),
    Defect("generator", "starts on a generator are spaced as on the mains",
           "control/gate.py", "s.GENERATOR_SPACING_MS if self.generator else s.START_SPACING_MS", "s.START_SPACING_MS"),
    Defect("exercise", "idle pumps are not exercised",
           "control/exercise.py", "if calm and available & (1 << n) and", "if False and"),
    Defect("exercise", "a failed exercise counts as passed",
           "control/exercise.py", "not available):\n            self._end(self.who, FAILED)",
           "not available):\n            self._end(self.who, PASSED)"),
    Defect("forced_inputs", "real high water does not end the forces",
           "control/forces.py", "not inputs[IN_JUMPER] or self.real_high:", "not inputs[IN_JUMPER]:"),
    Defect("forced_inputs", "inputs can be forced without the test jumper",
           "station/link.py", "if forced and not self.station.raw[records.IN_JUMPER]:", "if False:"),
)  # fmt: skip


def spoil(defect, folder, firmware=FIRMWARE):
    """Copy the firmware to `folder` (which must not exist) with the defect in it; return `folder`.

    Raises InputError when the text to change does not stand there exactly once.
    """
    folder = Path(folder)
    shutil.copytree(firmware, folder, ignore=shutil.ignore_patterns("__pycache__"))
    path = folder / PACKAGE / defect.file
    text = path.read_text(encoding="utf-8")
    count = text.count(defect.good)
    if count != 1:
        where = f"defect of {defect.procedure}, {defect.file}"
        raise InputError(f"the text to change stands there {count} times, not once: {defect.good!r}", where)
    path.write_text(text.replace(defect.good, defect.bad), encoding="utf-8")
    return folder


def plant(defect):
    """Run the defect's procedure on a virtual board with the defect on its flash; return the Outcome."""
    (one,) = procedure.load([defect.procedure])
    with tempfile.TemporaryDirectory(prefix="sumpbench-defect-") as folder:
        bench = Bench(VirtualKit(firmware=spoil(defect, Path(folder) / "firmware")))
        try:
            entry = runner.carry_out(bench, one)
            return Outcome(defect, entry, _stopped(bench))
        finally:
            bench.close()


def _stopped(bench):
    # The reason that a firmware leaves behind when it stops by a fault of its own.
    try:
        bench.kit.power(True)
        bench.kit.run_ms(1000)
        return bench.client.text(r.REASON_AT, r.REASON_WORDS)
    except InputError as error:
        return "; ".join(error.problems)


def main(names):
    """Plant the defects of the procedures named (all where none is named); return 0 when all are caught."""
    chosen = [defect for defect in DEFECTS if not names or defect.procedure in names]
    caught = 0
    for defect in chosen:
        outcome = plant(defect)
        caught += outcome.caught()
        verdict = outcome.stopped or outcome.entry["verdict"]
        found = "caught" if outcome.caught() else f"MISSED ({verdict})"
        print(f"{defect.procedure:<20} {found}: {defect.broken}\n    {'; '.join(outcome.failed()) or 'nothing failed'}")
    print(f"{caught} of {len(chosen)} seeded defects caught")
    return 0 if caught == len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
