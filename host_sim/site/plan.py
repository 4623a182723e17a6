"""A site and its scenario as one record: what is read from a file, and what a run takes."""

from dataclasses import dataclass, field

from host_sim.plant.equipment import Inflow, Seepage, Supply


@dataclass
class Site:
    """A site and its scenario, in SI, as the plant wants them.

    `settings` is the controller's record of integers; `faults` a list of
    `host_sim.site.faults.Fault`; `begins_s` the clock time of the start, seconds after
    midnight.  `contacts` are rising, None where not fitted.
    """

    name: str
    about: str
    pit: object
    start_m: float
    contacts: list
    pumps: tuple
    discharge: object
    supply: Supply
    transmitter: object
    inflow: Inflow
    seepage: Seepage | None
    wave_m: float
    settings: list
    begins_s: float
    duration_s: float
    seed: int
    faults: list = field(default_factory=list)
    actions: list = field(default_factory=list)
    path: str = ""
