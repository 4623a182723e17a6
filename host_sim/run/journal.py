"""The journal of a run: what crossed into and out of the core, on change, as JSON lines.

The first line is a header (format, settings, checksum of the firmware,
seed).  Every further line is one record: the instant in
milliseconds since the start, the input record after the step, the outputs.
A step that came late says by "late" how long after its instant it was made, in ms.
A line with "power" is a power-up of the controller (with its snapshot) or a
power-down; replay can start at any "up".
"""

import functools
import json
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

from duplexsump.control.records import OUT_LATE
from duplexsump.station import checksum

FORMAT = "sumpbench-journal"
VERSION = 3  # 3: the service relay among the outputs; 2: "retained" was "kept"


@functools.cache
def firmware_checksum():
    """Return the CRC-32 over the firmware's sources: what a board with this firmware tells (`station.checksum`)."""
    return checksum.firmware_checksum(str(resources.files("duplexsump")))


@dataclass
class Record:
    """One record: `inputs` and `outputs` are tuples of integers after `duplexsump.control.records`.

    `late_ms`: how long after its instant a step that came late was made, 0 where that was not written down.
    """

    time_ms: int
    inputs: tuple
    outputs: tuple
    late_ms: int = 0


def decided(outputs):
    """Return an output record as a tuple without its late mark, which is no decision of the core's.

    When a step is made is up to the clock and to what keeps the board busy; to a replay it is given, as the inputs
    are.  The mark may even tell of an instant of the chatter limiter, which sits in front of the record (L1).
    """
    return (*outputs[:OUT_LATE], *outputs[OUT_LATE + 1 :])


@dataclass
class Life:
    """A power-up ("up") or power-down ("down") of the controller; `now_ms` is its own 30-bit time then."""

    time_ms: int
    power: str
    now_ms: int
    retained: tuple | None = None
    snapshot: tuple | None = None


@dataclass
class Journal:
    """Records, power-ups and power-downs in order of time.  Two journals of the same run are equal."""

    settings: list = field(default_factory=list)
    checksum: int = 0
    site: str = ""
    seed: int = 0
    duration_ms: int = 0
    records: list = field(default_factory=list)

    def write(self, path):
        """Write the journal as JSON lines."""
        header = {
            "format": FORMAT,
            "version": VERSION,
            "site": self.site,
            "seed": self.seed,
            "firmware": f"{self.checksum:08x}",
            "duration_ms": self.duration_ms,
            "settings": list(self.settings),
        }
        with Path(path).open("w", encoding="utf-8") as file:
            file.write(json.dumps(header) + "\n")
            for record in self.records:
                file.write(json.dumps(_line(record), separators=(",", ":")) + "\n")


def _line(record):
    if isinstance(record, Life):
        line = {"t": record.time_ms, "power": record.power, "now": record.now_ms}
        if record.retained is not None:
            line["retained"] = list(record.retained)
        if record.snapshot is not None:
            line["snapshot"] = list(record.snapshot)
        return line
    line = {"t": record.time_ms, "in": list(record.inputs), "out": list(record.outputs)}
    return {**line, "late": record.late_ms} if record.late_ms else line


def _tuple(value):
    return None if value is None else tuple(value)


def read_journal(path):
    """Return the Journal written in a file.  Raises ValueError naming the line that cannot be used."""
    journal = Journal()
    with Path(path).open(encoding="utf-8") as file:
        for number, text in enumerate(file, 1):
            try:
                line = json.loads(text)
                if number == 1:
                    if line.get("format") != FORMAT or line.get("version") != VERSION:
                        raise ValueError(f'not a "{FORMAT}" of version {VERSION}')
                    journal.site, journal.seed = line["site"], line["seed"]
                    journal.checksum = int(line["firmware"], 16)
                    journal.duration_ms, journal.settings = line["duration_ms"], line["settings"]
                elif "power" in line:
                    retained, snapshot = _tuple(line.get("retained")), _tuple(line.get("snapshot"))
                    journal.records.append(Life(line["t"], line["power"], line["now"], retained, snapshot))
                else:
                    late_ms = int(line.get("late", 0))
                    journal.records.append(Record(line["t"], tuple(line["in"]), tuple(line["out"]), late_ms))
            except (ValueError, KeyError, TypeError, AttributeError) as error:
                raise ValueError(f"{path}, line {number}: not a line of a journal: {error}") from error
    return journal
