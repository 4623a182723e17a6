"""A night or a month played with the core that runs in this process, and what a household would notice of it."""

from dataclasses import astuple, dataclass, fields

from duplexsump.control import records
from duplexsump.control.alarm_table import SOUNDING

from host_sim.proof.campaign import night_run, nights
from host_sim.proof.told import judge as told
from host_sim.proof.told import months
from host_sim.run.closed_loop import Night
from host_sim.run.controllers import Duplex
from host_sim.site.load import read_site
from tests.second_pit import night as second_night
from tests.second_pit import nights as second_nights
from tests.second_pit.brain import Firmware

CLASSES = ("below_0.9", "all")  # of the second judge, in turn


@dataclass(frozen=True)
class Noticed:
    """What is noticed of a night; MUCH says by how much another must differ to count."""

    wet_s: float  # the floor
    dry_s: float  # the longest dry run, beyond what is allowed
    uncalled: int  # a flood came that nobody was called for in time
    broken: int  # another promise was broken
    alarms: int  # high and medium ones that were raised
    horn_min: float
    starts: int


HARM = ("wet_s", "dry_s", "uncalled", "broken")  # the rest is noise and wear
MUCH = {"wet_s": 10.0, "dry_s": 5.0, "uncalled": 1, "broken": 1, "alarms": 1, "horn_min": 1.0, "starts": 10}
SHARE = 1.1  # and a tenth more: a floor that is wet all night is not noticed to be wet for a minute longer


def more(base, other):
    """Return the names of what there is more of in `other` than in `base`, by as much as counts."""
    pairs = zip(fields(Noticed), astuple(base), astuple(other), strict=True)
    return [field.name for field, a, b in pairs if b - a >= MUCH[field.name] and b >= SHARE * a]


CRASHED = Noticed(0.0, 0.0, 0, 99, 0, 0.0, 0)  # the core without its rule ends in an exception


class Plain(Duplex):
    """The firmware's controller, at which no invariant is looked at: rules are judged by what comes of them."""

    def __init__(self, site, offset_ms=0):
        super().__init__(site, offset_ms)
        self.broken, self.steps = [], 0


def campaign(seed, number):
    """Play night `number` of the campaign."""
    return noticed(nights.draw(seed, number))


def noticed(night):
    """Play a Night of the campaign, drawn or written."""
    site = read_site(night.text, source=f"night {night.seed}/{night.number}")
    work = Night(site, site.seed, Plain(site), list(site.faults))
    trace = work.run(False, None)
    record = night_run.judge(night, work, trace, trace)
    over_s = record["longest_dry_run_s"] - night_run.dry_limit_s(night, site) - night_run.DRY_GRACE_S
    broken = record["broken"]
    return Noticed(
        record["floor_wet_s"], max(0.0, over_s), int("alarm: " in broken), int("phase two" in broken),
        sum(alarm.priority != "low" for alarm in trace.alarms), _horn_min(trace), record["starts"],
    )  # fmt: skip


def _horn_min(trace):
    return sum(span.end_s - span.start_s for span in trace.outputs if span.name == "horn") / 60.0


class Heard(Firmware):
    """The core at the second pit's terminals, with the minutes of its horn and the alarms that it raised."""

    def __init__(self, site):
        super().__init__(site)
        self.sounded_ms, self.since_ms, self.told, self.standing = 0, None, 0, ()

    def step(self, now_ms, raw):
        """Step, and listen."""
        stepped = super().step(now_ms, raw)
        if stepped:
            self._hear(now_ms, self.out[records.OUT_HORN])
            standing = [i for i, on in enumerate(self.controller.alarms.active) if on and i < SOUNDING]
            self.told += sum(i not in self.standing for i in standing)
            self.standing = standing
        return stepped

    def _hear(self, now_ms, horn):
        if self.since_ms is not None:
            self.sounded_ms += now_ms - self.since_ms
        self.since_ms = now_ms if horn else None

    def power_down(self):
        """A dark controller is silent."""
        super().power_down()
        self.since_ms, self.standing = None, ()


def second(seed, number):
    """Play night `number` of the second judge: of its classes, in turn."""
    night = second_nights.draw(seed, number, CLASSES[number % len(CLASSES)])
    heard = Heard(night.site)
    watch = second_night.run(night, heard)
    over_s = max(0.0, watch.longest_dry - watch.dry_limit) if watch.dry_over else 0.0
    return Noticed(
        watch.wet_s, over_s, int(watch.silent or watch.late), int(bool(watch.violations)),
        heard.told, heard.sounded_ms / 60000.0, sum(len(pump.starts) for pump in watch.pumps),
    )  # fmt: skip


def month(seed, number):
    """Play month `number` of the plan of `told`, spread over all of it."""
    record = told.run(seed, *planned(number), Plain)
    raised = sum(count for name, count in record["raises"].items() if record["alarms"][name][1] != "low")
    return Noticed(
        record["floor_wet_s"], 0.0, int("nobody had been called" in record["broken"]), int(bool(record["broken"])),
        raised, record["horn_min_a_week"], 0,
    )  # fmt: skip


def planned(number):
    """Return (place in the plan, house, season, fault): neighbours in the plan are of one fault, these are not."""
    plan = months.plan(healthy=1)
    place = number * _STRIDE % len(plan)
    return (place, *plan[place])


_STRIDE = 211  # a prime
JUDGES = {"campaign": campaign, "second": second, "month": month}


def replay(judge, seed, number):
    """Return the line that shows a night of one of JUDGES again."""
    if judge == "campaign":
        return f"sumpbench campaign --seed {seed} --only {number}"
    if judge == "second":
        return f"python -m tests.second_pit --seed {seed} --class {CLASSES[number % len(CLASSES)]} --only {number}"
    _place, house, season, fault = planned(number)
    return f"sumpbench told --seed {seed} --only {fault or 'healthy'} --only {house} --only {season}"
