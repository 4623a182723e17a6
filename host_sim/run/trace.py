"""The result of a run, from which chart, verdict and timeline are made.

Units are SI: seconds since the start of the run, metres above the pit's
bottom, cubic metres, cubic metres a second, amperes, volts.  Levels are those
of the water itself; a contact's state is what the contact really does, before
any band, debounce or plausibility check of the controller.
"""

from dataclasses import dataclass, field
from typing import Any


@dataclass
class Run:
    """One stretch for which a pump was commanded to run.

    `why` is a short phrase for the command ("lead", "lag", "blind pumping",
    "hand", "exercise", "flood retry", "float switch"); `moved_m3` is the water that left the pit
    through this pump during the stretch, `loaded_s` the time it really moved water.
    """

    pump: int  # 1 or 2
    start_s: float
    end_s: float
    why: str
    moved_m3: float = 0.0
    loaded_s: float = 0.0


@dataclass
class Span:
    """A stretch of time with a name: a supply ("mains", "generator", "none"), or an output that was on."""

    name: str
    start_s: float
    end_s: float


@dataclass
class FaultSpan:
    """One fault as applied: `text` is its effect at the pit."""

    name: str
    text: str
    start_s: float
    end_s: float
    value: Any = None


@dataclass
class AlarmSpan:
    """One occurrence of an alarm; a time is None where that did not happen before the end of the run."""

    name: str
    priority: str  # "high", "medium" or "low"
    text: str
    raised_s: float
    acknowledged_s: float | None = None
    cleared_s: float | None = None


@dataclass
class SuspectSpan:
    """A contact while it was suspect; `reads` is what it read when it became so, "wet" or "dry"."""

    contact: str
    reads: str
    start_s: float
    end_s: float


@dataclass
class Event:
    """One structured event for a timeline.

    Kinds and what `data` holds:
      contact          name, wet: the contact changed state
      pump             pump, on, why: a command to a pump changed
      pump_state       pump, state, before: the controller's own state of a pump
      mains            present, source
      battery          state ("good", "low", "dead"), volts
      charger          charging
      selector         pump, position ("auto", "off", "hand")
      button           name ("silence", "reset"), pressed
      fault            name, value, text, on
      alarm            name, priority, text, change ("raised", "acknowledged", "cleared", "returned")
      suspect          contact, reads, on
      output           name ("horn", "beacon", "relay", "service", "light"), on
      floor            wet: water reached or left the floor
      motor            pump, what ("stalled", "dry", "thermal open", "thermal closed", "no supply", "loaded")
      controller       what ("power lost", "powered up", "reset")
      late             ms: a step came later than due
    """

    time_s: float
    kind: str
    data: dict[str, Any] = field(default_factory=dict)


@dataclass
class Totals:
    """Sums over the run."""

    highest_m: float = 0.0
    highest_at_s: float = 0.0
    floor_wet_s: float = 0.0  # time with water on the floor
    floor_first_s: float | None = None
    inflow_m3: float = 0.0  # inflow to the pit, all sources
    pumped_m3: float = 0.0  # water pumped out
    starts: list[int] = field(default_factory=lambda: [0, 0])  # by pump, commands that began
    run_s: list[float] = field(default_factory=lambda: [0.0, 0.0])  # by pump, commanded time
    dry_s: list[float] = field(default_factory=lambda: [0.0, 0.0])  # by pump, turning without moving water
    dry_runs_s: list[list[float]] = field(default_factory=lambda: [[], []])  # the same by stretch, as seen at the steps
    energy_j: list[float] = field(default_factory=lambda: [0.0, 0.0])  # by pump, electrical
    battery_used: float = 0.0  # largest depth of discharge reached, 0 to 1
    first_alarm_s: float | None = None  # first time that the horn, the alarm relay or the service relay was on alarm
    balance_m3: float = 0.0  # water made or lost by arithmetic
    balance_relative: float = 0.0  # the same as a share of the water moved
    steps: int = 0  # controller steps taken
    wall_s: float = 0.0  # wall-clock time of the run


@dataclass
class Trace:
    """One run of one controller through one site's scenario.

    `time_s`, `level_m`, `inflow_m3s`, `current_a[0]`, `current_a[1]`,
    `battery_v` are lists of equal length: a point at every event, at every
    turn of the level and at most every few seconds in between.
    `contact_changes[name]` is a list of (seconds, wet) that starts with the
    state at time 0.  `journal` is a `host_sim.run.journal.Journal`, or None for
    the plain float switch, which keeps none.
    """

    site_name: str
    controller: str  # "duplex" or "single"
    seed: int
    begins_s: float  # clock time of the start, seconds after midnight
    duration_s: float
    floor_m: float
    pit_depth_m: float
    contact_trip_m: dict[str, float] = field(default_factory=dict)  # rising level that makes it wet
    contact_release_m: dict[str, float] = field(default_factory=dict)  # falling level that makes it dry
    time_s: list[float] = field(default_factory=list)
    level_m: list[float] = field(default_factory=list)
    inflow_m3s: list[float] = field(default_factory=list)
    current_a: list[list[float]] = field(default_factory=lambda: [[], []])
    battery_v: list[float] = field(default_factory=list)  # empty lists when there is no battery
    contact_changes: dict[str, list[tuple[float, bool]]] = field(default_factory=dict)
    runs: list[Run] = field(default_factory=list)
    supply: list[Span] = field(default_factory=list)
    # "horn" and "beacon" on, "relay" and "service" dropped, "controller" dead
    outputs: list[Span] = field(default_factory=list)
    faults: list[FaultSpan] = field(default_factory=list)
    alarms: list[AlarmSpan] = field(default_factory=list)
    suspects: list[SuspectSpan] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    totals: Totals = field(default_factory=Totals)
    journal: Any = None

    @property
    def floor_dry(self):
        """Whether no water ever stood on the floor."""
        return self.totals.floor_wet_s == 0.0
