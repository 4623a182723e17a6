"""Two pumps and one demand: lead and lag, alternation, take-over, hand-over (D2 to D6, A4, R1)."""

from . import pump as pm
from . import settings as s
from . import timers as tm
from .records import AGAIN, COUNTER, HIGH, LAG, LEAD, OFF, RETAIN, STATE, STATISTIC, const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Controller

_NOBODY = -1
_QUICK_MS = const(120000)  # D6: the other pump draws the pit down within this: the one before it had moved nothing
_PAUSE_MS = const(8000)  # L5: no pump between the two looks: where inflow and pump are equal the level rises
_LAG_LONG_MS = const(60000)  # D5: in most pits lag to the floor takes less at a flood's inflow, with no pump running


class Pair:
    """Chooses who runs.  Masks over pumps are 1 for pump 1, 2 for pump 2; pumps are 0 and 1."""

    FIELDS = (
        ("turn", STATE, 0, RETAIN),  # whose lead turn it is
        ("lead", STATE, 0, AGAIN),  # who leads this demand, -1 nobody
        ("led", STATE, 0, AGAIN),  # who has led and run in this demand, -1 nobody
        ("not_pumping", STATE, 0, AGAIN),  # R1: pumps tripped so in this demand
        ("take_back", STATE, 0, AGAIN),  # A4: the primary is being brought back
        ("overdue", STATE, 0, 0),  # D4: a long run, past max_run
        ("handed", STATE, 0, 0),  # D6: the pump n + 1 handed over in this demand, 0 none
        ("risen", STATE, 0, 0),  # A4: the water has risen to lag or high under the one pump, or stood there
        ("lagged", STATE, 0, 0),  # D6: this demand reached lag with one pump leading
        ("lag_leads", COUNTER, 2, RETAIN),  # D6: leads in a row that did
        ("suspects", STATE, 0, RETAIN),  # D6: pumps that did so twice
        ("both_long", STATE, 0, 0),  # D5: both have run for long
        ("lag_long", STATE, 0, 0),  # ... lag has been wet for long
        ("lead_long", STATE, 0, 0),  # ... the water has not been below lead for long
        ("available", STATE, 0, AGAIN),
        ("ready", STATE, 0, AGAIN),  # available without a try of R3 or S4
        ("cycles", STATISTIC, 0, RETAIN),
    )

    def __init__(self, controller: "Controller") -> None:
        self.settings = controller.settings
        self.timers = controller.timers
        self.pumps = controller.pumps
        self.gate = controller.gate
        self.supply = controller.supply
        self.selectors = controller.selectors
        self.belief = controller.belief
        self.contacts = controller.contacts
        self.run_s = controller.history.run_s
        self.turn = 0
        self.lead = _NOBODY
        self.led = _NOBODY
        self.not_pumping = 0
        self.take_back = 0
        self.overdue = False
        self.handed = 0
        self.risen = False
        self.lagged = 0
        self.lag_leads = [0, 0]
        self.suspects = 0
        self.both_long = False
        self.lag_long = False
        self.lead_long = False
        self.available = 0
        self.ready = 0
        self.cycles = 0
        self.doubted = 0  # L5: the level stands still under the lead, as told before each step

    def reset(self) -> None:
        """Forget what made a pump suspect (D6)."""
        self.lag_leads[0] = 0
        self.lag_leads[1] = 0
        self.suspects = 0

    def suspect(self, n: int) -> int:
        """D6: tell whether pump `n` led twice running and let the level reach lag."""
        return self.suspects & (1 << n)

    def judge(self) -> None:
        """Work out which pumps are available: in AUTO, supplied, not resting for retry, not locked out."""
        self.available = 0
        self.ready = 0
        for n in range(2):
            pump = self.pumps[n]
            fed = (self.supply.fed | self.supply.unseen) & (1 << n)
            usable = fed and self.selectors.auto(n) and not pump.open and not self._runs_on(n)
            if usable and (pump.state < pm.RETRY or pump.trial):
                self.available |= 1 << n
                if pump.state < pm.RETRY and not pump.held:
                    self.ready |= 1 << n

    def _runs_on(self, n: int) -> int:
        # S6: a pump that will not stop; with high believed wet it is commanded all the same.
        return self.pumps[n].welded and not self.belief.wet & HIGH

    def dry_pump(self, n: int) -> bool:
        """R1: pump `n` has run in underload for dry_run.  Returns True when the pit is empty."""
        bit = 1 << n
        pump = self.pumps[n]
        covered = self._tells_of_water(1 - n) or (self.belief.wet & OFF and not pump.loaded)
        if not self.belief.wet & (LEAD | LAG | HIGH) and not covered:
            if self.not_pumping & ~bit and not pump.loaded:
                self.pumps[1 - n].withdraw()  # neither has moved water in this demand, and yet the contact fell
            self.belief.no_water(self.contacts.wet)
            return True
        pump.trip(pm.NOT_PUMPING)
        if self.not_pumping & ~bit and self.belief.vouchers() < 2:
            self.pumps[1 - n].withdraw()
            pump.withdraw()
            self.not_pumping = 0
            self.belief.found_dry(self.belief.wet, self.contacts.wet)
            self.belief.make_suspect(self.belief.wet, self.contacts.wet)
            return True
        self.not_pumping |= bit
        return False

    def _tells_of_water(self, n: int) -> int:
        # R1: pump `n` is loaded for long, and `off` tells of water too, or high alone is left to tell of any.
        return self.pumps[n].steady and (self.belief.wet & OFF or not self.belief.believed_below_high())

    def step(self, demand: int, blind: int, takes: int = 0) -> int:
        """Return the pumps wanted, as a mask.

        `demand`: pumps the level asks for; `blind`: -1 or the pump whose blind
        turn it is; `takes`: the pumps that a blind run of both may take.
        """
        self._both(self.gate.out == 3)
        self._waters(self.belief.wet & (LEAD | LAG))
        self._rises(self.belief.wet & (LAG | HIGH), self.contacts.fell & (LAG | HIGH))
        if demand:
            return self._demanded(demand) | self._held()
        if self.lead >= 0 or self.led >= 0 or self.not_pumping:
            self._cycle_over()
        if blind >= 0:
            self._choose(blind)
            if self.lead >= 0:
                return (self.available & takes if takes else 1 << self.lead) | self._held()
        return self._held()

    def goes_first(self) -> int:
        """S2: return the pump that starts first where both are wanted: who leads, but not one that is out (A1)."""
        first = self.lead if self.lead >= 0 else self.turn
        return 1 - first if self.pumps[first].out and not self.pumps[1 - first].out else first

    def behind(self) -> int:
        """D5: tell whether the pumps do not keep up."""
        return self.both_long or self.lag_long or self.lead_long

    def _waters(self, wet: int) -> None:
        # D5: the contacts below high tell of a flood as well, for high may be the one that hangs dry; wet, it calls,
        # and whoever it has called is not called again for water that bobs at it.
        if self.contacts.wet & HIGH:
            wet = 0
        elif self.contacts.fell & HIGH:
            self.timers.arm(tm.LAG_LONG, 2 * _LAG_LONG_MS)
        self.lag_long = self._lag(wet & LAG)
        self.lead_long = self._lead(wet and self.available)

    def _lag(self, wet: int) -> bool:
        return self.timers.on_delay(tm.LAG_LONG, self.lag_long, wet, _LAG_LONG_MS)

    def _lead(self, wet: int) -> bool:
        return self.timers.on_delay(tm.LEAD_LONG, self.lead_long, wet, self.settings[s.NOT_KEEPING_UP_MS])

    def _both(self, both: int) -> None:
        # D5: both running for long do not keep up.
        self.both_long = self.timers.on_delay(tm.BOTH, self.both_long, both, self.settings[s.NOT_KEEPING_UP_MS])

    def _held(self) -> int:
        # Pumps wanted whatever the level: by hand (M1), and for min_run (S3).
        want = 0
        for n in range(2):
            if self.selectors.hand(n) and self.pumps[n].state < pm.RETRY:
                want |= 1 << n
            if self.timers.running(tm.MIN_RUN + n):  # it ends with the run
                want |= 1 << n
        return want

    def _can_start(self, n: int) -> int:
        return self.available & (1 << n) and self.gate.rested(n)

    def _choose(self, first: int) -> None:
        """Let `first` lead, or the other if `first` is out, or resting while the other is ready (D2, D3)."""
        lead = self.lead if self.lead >= 0 else first
        other = 1 - lead
        running = self.gate.out & self.available
        if not running & (1 << lead):
            if running & (1 << other) or not self.available & (1 << lead):
                lead = other
            elif self._can_start(other) and not self._can_start(lead):
                lead = other
        self.lead = lead if self.available & (1 << lead) else _NOBODY

    def _first(self) -> int:
        # D2: whose lead it is; D6: not a suspect's while the other is not one.
        duty = self.settings[s.DUTY]
        first = self.turn
        if duty == s.FIXED:
            first = self.settings[s.PRIMARY] - 1
        elif duty == s.RUN_TIME:
            if self.run_s[0] < self.run_s[1]:
                first = 0
            elif self.run_s[1] < self.run_s[0]:
                first = 1
        if self.suspect(first) and not self.suspect(1 - first):
            first = 1 - first
        return first

    def _demanded(self, demand: int) -> int:
        out = self.gate.out
        by_hand = 0
        for n in range(2):
            if (self.selectors.hand(n) and out & (1 << n)) or self._runs_on(n):
                by_hand += 1
        demand = max(0, demand - by_hand)
        self._choose(self._first())
        if self._hand_over(demand, out):
            return 0
        if demand == 1 and self.timers.running(tm.PAUSE):
            return 0
        self._bring_back()
        if self.lead >= 0 and out & (1 << self.lead):
            self.led = self.lead
        if not demand or self.lead < 0:
            return 0
        if demand == 2 or self.take_back:
            return self.available
        return 1 << self.lead

    def _hand_over(self, demand: int, out: int) -> bool:
        # D4, L5: True in the step in which the lead hands over: it stops first, then the other starts.
        alone = demand == 1 and self.lead >= 0 and out & (1 << self.lead)
        self._overdue(alone and (self.settings[s.DUTY] != s.FIXED or self._may_move_nothing()))
        tells = alone and self._tells(1 - self.lead)
        if tells:
            self.timers.arm(tm.PAUSE, _PAUSE_MS)
        if tells or self._relieved(1 - self.lead):
            if self.settings[s.SENSING] != s.SENSE_CURRENT:
                self.handed = 1 + self.lead
            self.lead = 1 - self.lead
            return True
        if self.risen and self._is_better(1 - self.lead):
            if self.lagged:
                self._count_lag_lead(self.lead, 1)
                self.lagged = 0
            return True  # it rests from now on, so the other leads
        return False

    def _is_better(self, other: int) -> bool:
        # A4: it can start at once (where nobody leads nobody can), is not out, and not the only suspect.
        if not self._can_start(other) or self.timers.running(tm.SPACING):
            return False
        return not self.pumps[other].out and not (self.suspect(other) and not self.suspect(1 - other))

    def _rises(self, wet: int, fell: int) -> None:
        # A4: the battery bears one of the two that are wanted.  The other may move what this one does not.
        one = self.lead >= 0 and self.gate.out == 1 << self.lead and self.settings[s.BATTERY_PUMPS] == 1
        if self.supply.on_battery != 3 or self.settings[s.SENSING] == s.SENSE_CURRENT or fell:
            one = False
        self.risen = self._stands(self.risen or self.contacts.rose & wet, one and wet)

    def _stands(self, risen: int, wet: int) -> bool:
        return self.timers.on_delay(tm.BORNE, risen, wet, self.settings[s.NO_DRAW_DOWN_MS])

    def _may_move_nothing(self) -> int:
        # D4: in fixed duty a battery is spared: who gets the water below lead keeps on, and who took over is timed.
        return self.settings[s.SENSING] != s.SENSE_CURRENT and (self.belief.wet & LEAD or self.handed)

    def _relieved(self, other: int) -> int:
        # D4: a lead past max_run, below lag.
        return self.overdue and not self.gate.contacts & LAG and self._can_start(other)

    def _tells(self, other: int) -> int:
        # L5: the level stands still under the lead.  S1's rest without a running pump is enough, for then none runs.
        if self.doubted != 1 or self.timers.running(tm.MIN_RUN + 1 - other):
            return False
        return not self.timers.running(tm.REST_LAG + other) and self.available & (1 << other)

    def _overdue(self, alone: int) -> None:
        self.overdue = self.timers.on_delay(tm.LONG_RUN, self.overdue, alone, self._longest())

    def _longest(self) -> int:
        # D4: a pump of which no current tells that it moves water is relieved before D5 calls.
        longest = self.settings[s.MAX_RUN_MS]
        if self.settings[s.SENSING] == s.SENSE_CURRENT:
            return longest
        return min(longest, self.settings[s.NOT_KEEPING_UP_MS] // 1000 * 900)

    def _quick(self) -> bool:
        # D6: the pump that another relieved had moved nothing, for that one has drawn the pit down at once.
        return self.timers.running(tm.LONG_RUN) and self._longest() - self.timers.left_ms(tm.LONG_RUN) < _QUICK_MS

    def _bring_back(self) -> None:
        # A4: in fixed duty the mains returns, the primary starts and is proved,
        # then the secondary stops.
        primary = self.settings[s.PRIMARY] - 1
        if self.settings[s.DUTY] != s.FIXED:
            return
        if self.supply.came and self.lead == 1 - primary:
            self.take_back = 1
        if self.take_back and self.pumps[primary].state == pm.RUNNING:
            self.take_back = 0
            self.lead = primary
        if not self.available & (1 << primary):
            self.take_back = 0

    def reached_lag(self, demand: int) -> None:
        """D6: lag turned wet in this step; count it against a pump that led alone."""
        if demand == 1 and self.led >= 0 and self.settings[s.SENSING] != s.SENSE_CURRENT:
            self.lagged = 1

    def _cycle_over(self) -> None:
        # D2: the turn goes to the one that did not lead; a skipped pump keeps one turn.
        vouched = self.contacts.wet & self.belief.suspect & (LEAD | LAG | HIGH)
        for n in range(2):
            if vouched and self.not_pumping & (1 << n) and self.pumps[n].cause == pm.NOT_PUMPING:
                self.pumps[n].withdraw()  # the contact that vouched for water has proved wrong
        if self.led >= 0:
            self.turn = 1 - self.led
            self.cycles += 1
            self._count_lag_lead(self.led, self.lagged)
        if self.handed and self.handed != 1 + self.led and self._quick():
            self._count_lag_lead(self.handed - 1, 1)
        self.lead = _NOBODY
        self.led = _NOBODY
        self.handed = 0
        self.lagged = 0
        self.not_pumping = 0
        self.take_back = 0
        self.overdue = False
        self.timers.stop(tm.LONG_RUN)

    def _count_lag_lead(self, n: int, weak: int) -> None:
        # D6: once suspect, a pump stays so until a reset.
        self.lag_leads[n] = min(2, self.lag_leads[n] + 1) if weak else 0
        if self.lag_leads[n] == 2:
            self.suspects |= 1 << n
