"""Long logs: a year at one row a second through the firmware, open loop, in bounded memory.

The file is read in blocks by pyarrow.  Levels become contact words, and words
become edges, by arithmetic on whole blocks; the firmware is stepped only where
a contact or the mains changes, and when it is due by itself.  Of outputs and
alarms only counts are kept, so memory does not grow with the log.
"""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from duplexsump.control import alarm_table
from duplexsump.control.records import OUT_PUMP_1, OUT_PUMP_2

from host_sim.errors import InputError
from host_sim.replay import openloop
from host_sim.replay.inflow import Rates
from host_sim.replay.judge import OF_WATER
from host_sim.replay.limits import too_coarse
from host_sim.replay.other_firmware import errors_told
from host_sim.replay.reading import cleaning, stamps, table_log, texts
from host_sim.replay.reading.cells import states

BLOCK_ROWS = 1 << 18
BLOCK_BYTES = 8 << 20
DAY_MS = 86_400_000
GAP_S = 60.0
GAP_SPACINGS = 5.0  # a hole of more than this many usual spacings is a gap; our own choice
UNITS_A_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
MOST_DAYS = 4000  # eleven years; a log beyond that is read with a wrong clock


@dataclass
class Day:
    """One day of a long log: seconds are those that the firmware's pumps were on."""

    starts: list[int] = field(default_factory=lambda: [0, 0])
    run_s: list[float] = field(default_factory=lambda: [0.0, 0.0])
    highest_m: float = -1.0
    alarms: int = 0


@dataclass
class StreamTotals:
    """The totals of a streamed log; `lost` counts rows left out by what was wrong with them."""

    rows: int = 0
    edges: int = 0
    steps: int = 0
    gaps: int = 0
    spacing_s: float = 0.0  # the usual time from row to row
    gap_s: float = GAP_S  # holes longer than this are gaps
    coarse: str = ""  # why the rows are too far apart to show every cycle: the firmware is then not fed with them
    floor_wet_s: float = 0.0
    begins_s: float = 0.0  # seconds since 1970
    duration_s: float = 0.0
    highest_m: float = -1.0
    highest_at_s: float = 0.0
    days: dict = field(default_factory=dict)
    alarms: Counter = field(default_factory=Counter)
    lost: Counter = field(default_factory=Counter)

    @property
    def starts(self):
        """Starts of both pumps."""
        return [sum(day.starts[n] for day in self.days.values()) for n in (0, 1)]


class _Counting(openloop.OpenLoop):
    """The open loop that keeps counts instead of what happened."""

    def __init__(self, settings, found, module=None):
        super().__init__(settings, module)
        self.found, self.since = found, [None, None]

    def day(self, time_ms):
        """Return the Day of an instant.  Raises InputError for a log that is too long to be true."""
        place = time_ms // DAY_MS
        if place not in self.found.days:
            if len(self.found.days) >= MOST_DAYS:
                raise InputError(f"the log spans over {MOST_DAYS} days: is its time read in the right unit?")
            self.found.days[place] = Day()
        return self.found.days[place]

    def changed(self, time_ms, out):
        """Count starts and run time."""
        for n, place in ((0, OUT_PUMP_1), (1, OUT_PUMP_2)):
            if out[place] and self.since[n] is None:
                self.since[n] = time_ms
                self.day(time_ms).starts[n] += 1
            elif not out[place] and self.since[n] is not None:
                self.day(self.since[n]).run_s[n] += (time_ms - self.since[n]) / 1000.0
                self.since[n] = None
        self.outputs[-1] = (time_ms, out)

    def alarm(self, time_ms, place, active):
        """Count alarms that came."""
        if active and alarm_table.TABLE[place][alarm_table.NAME] in OF_WATER:
            self.day(time_ms).alarms += 1
            self.found.alarms[alarm_table.TABLE[place][alarm_table.NAME]] += 1


def blocks(path, mapping):
    """Yield (share of the file read, {column: pyarrow array}) of a CSV or Parquet file.

    Raises InputError where pyarrow is missing, or the file or a column cannot be used.
    """
    try:
        import pyarrow as pa
        import pyarrow.csv as pc
        import pyarrow.parquet as pq
    except ImportError as error:
        raise InputError(f"streaming a long log {table_log.INSTALL}", str(path)) from error
    wanted = mapping.columns()
    try:
        if table_log.kind_of(path, mapping) == "parquet":
            file = pq.ParquetFile(path)
            table_log._wanted(path, mapping, file.schema_arrow.names, [])
            total, done = file.metadata.num_rows, 0
            for batch in file.iter_batches(batch_size=BLOCK_ROWS, columns=wanted):
                done += batch.num_rows
                yield done / max(1, total), {name: batch.column(name) for name in wanted}
            return
        with texts.opened(path, mapping.encoding) as file:
            names, passed = texts.header(file, path, mapping.delimiter, mapping.skip, wanted)
        table_log._wanted(path, mapping, names, [])
        read = pc.ReadOptions(block_size=BLOCK_BYTES, encoding=mapping.encoding, skip_rows=passed + 1,
                              column_names=names)  # fmt: skip
        parse = pc.ParseOptions(delimiter=mapping.delimiter, invalid_row_handler=lambda row: "skip")
        convert = pc.ConvertOptions(include_columns=wanted, null_values=list(mapping.missing), strings_can_be_null=True,
                                    decimal_point=mapping.decimal, column_types=_types(pa, mapping))  # fmt: skip
        total, done = max(1, Path(path).stat().st_size), 0
        with pc.open_csv(path, read_options=read, parse_options=parse, convert_options=convert) as reader:
            for batch in reader:
                done += BLOCK_BYTES
                yield min(1.0, done / total), {name: batch.column(name) for name in wanted}
    except (pa.ArrowException, OSError, EOFError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error


def _ahead(source):
    # What `source` yields, the next read while the one before is worked on: pyarrow leaves the other core to us.
    nothing = object()
    with ThreadPoolExecutor(1) as reader:
        coming = reader.submit(next, source, nothing)
        while (block := coming.result()) is not nothing:
            coming = reader.submit(next, source, nothing)
            yield block


def _types(pa, mapping):
    found = {}
    if mapping.clock in ("unix s", "unix ms", "seconds"):
        found[mapping.time] = pa.float64()
    elif "%" in mapping.clock or mapping.time_of_day:
        found[mapping.time] = pa.string()
        found |= {mapping.time_of_day: pa.string()} if mapping.time_of_day else {}
    if mapping.level is not None:
        found[mapping.level.name] = pa.float64()
    return found


def _times(columns, mapping, zone, found):
    # Seconds since 1970 of one block, nan where there is none.
    import pyarrow as pa

    array = columns[mapping.time]
    kind = array.type
    if mapping.time_of_day:
        cells = stamps.joined(array.to_pylist(), columns[mapping.time_of_day].to_pylist())
        seconds, known = stamps.parse(cells, mapping.clock, [])
    elif pa.types.is_timestamp(kind):
        known = np.broadcast_to(kind.tz is not None, len(array))
        seconds = _plain(array, np.int64) / UNITS_A_SECOND[kind.unit]
        if array.null_count:
            seconds[np.asarray(array.is_null())] = np.nan
    elif pa.types.is_integer(kind) or pa.types.is_floating(kind):
        seconds = _plain(_floats(array), np.float64) / (1000.0 if mapping.clock == "unix ms" else 1.0)
        known = np.broadcast_to(mapping.clock != "seconds", len(array))
    else:
        seconds, known = stamps.parse(array.to_pylist(), mapping.clock, [])
    found.lost["no time"] += int(np.count_nonzero(np.isnan(seconds)))
    if zone is None or known.all():
        return seconds
    return stamps.to_utc(seconds, known, zone, [])


def _floats(array):
    import pyarrow as pa

    array = array.cast(pa.float64())
    return array.fill_null(np.nan) if array.null_count else array


def _plain(array, kind):
    # The numbers of an array of eight bytes each as they lie in memory; pyarrow's own way loads pandas for it.
    if not len(array):
        return np.zeros(0, kind)
    return np.frombuffer(array.buffers()[1], kind, len(array), 8 * array.offset)


def _numbers(array, column):
    import pyarrow as pa

    if not (pa.types.is_floating(array.type) or pa.types.is_integer(array.type) or pa.types.is_null(array.type)):
        raise InputError(f'column "{column.name}" holds {array.type}: --long requires plain numbers in one unit')
    return _plain(_floats(array), np.float64) * column.factor + column.offset


def run(path, mapping, site, settings=None, module=None, progress=None):
    """Return the StreamTotals of a file.

    `mapping` needs a level; of the rest only the mains is used.  Rows that come
    too late or repeat a time are left out and counted, readings beyond anything
    possible and lone spikes count as missing.  Raises InputError.
    """
    if mapping.level is None:
        raise InputError("a long log is judged by its level: [level] is required in the mapping", str(path))
    if mapping.names:
        raise InputError("--long requires a column for each channel, not one reading a row (names, values in [file]): "
                         "leave out --long, or write the log as one column each", str(path))  # fmt: skip
    found = StreamTotals()
    with errors_told(module):
        return _run(_Counting(settings or openloop.settings_for(site), found, module), found, path, mapping, site,
                    progress)  # fmt: skip


def _run(loop, found, path, mapping, site, progress):
    floats, before = openloop.Floats(site.contacts), (-np.inf, False)
    zone = stamps.zone_of(mapping.zone) if mapping.zone else None
    last, state, origin = -np.inf, None, None
    for share, columns in _ahead(blocks(path, mapping)):
        time = _times(columns, mapping, zone, found)
        level = _numbers(columns[mapping.level.name], mapping.level)
        found.rows += len(time)
        keep = _keep(time, last, found)
        time, level = (time, level) if keep is None else (time[keep], level[keep])
        if not len(time):
            continue
        level = _clean(level, found, mapping.spike_m, time)
        mains = _mains(columns, mapping, keep, len(time))
        if origin is None:
            origin = found.begins_s = float(time[0])
            last = origin
            found.spacing_s = float(np.median(np.diff(time))) if len(time) > 1 else 0.0
            held = mapping.rows == "changes"  # silence is then no gap
            found.coarse = "" if held else too_coarse(found.spacing_s, site, Rates(site))
            found.gap_s = np.inf if held else max(GAP_S, GAP_SPACINGS * found.spacing_s)
        if not found.coarse:
            state = _feed(loop, found, time - origin, floats.words(level), mains, last - origin, state)
        before = _wet(found, time, level, site.pit.floor_m, before)
        _highest(found, loop, time - origin, level)
        last = float(time[-1])
        if progress is not None:
            progress(share)
    if origin is None:
        raise InputError("has no row with a readable time", str(path))
    found.duration_s = last - origin
    if loop.controller is not None:
        loop.end(int(openloop.grid_ms(found.duration_s)) + openloop.TICK_MS)
    found.steps = loop.steps
    return found


def _keep(time, last, found):
    # None where every row has its place; else a mask of the rows that do.
    if time[0] > last and (time[1:] > time[:-1]).all():
        return None
    top = np.maximum.accumulate(np.where(np.isnan(time), -np.inf, time))
    before = np.concatenate(([last], np.maximum(top[:-1], last)))
    keep = time > before
    found.lost["out of order or repeated"] += int((~keep & ~np.isnan(time)).sum())
    return keep


def _clean(level, found, spike_m, time):
    if not (level.min() >= cleaning.LOWEST_M and level.max() <= cleaning.HIGHEST_M):  # a missing one, or beyond
        lost = np.isnan(level)
        with np.errstate(invalid="ignore"):
            outside = (level < cleaning.LOWEST_M) | (level > cleaning.HIGHEST_M)
        level = np.where(outside, np.nan, level)
        found.lost["drop-out"] += int(lost.sum())
        found.lost["out of range"] += int(outside.sum())
    issues = []
    if (np.abs(level[1:] - level[:-1]) > (spike_m or cleaning.SPIKE_M)).any():
        level = level.copy()
        cleaning.spikes(level, issues, spike_m, float(np.median(np.diff(time))) if len(time) > 1 else 0.0)
    found.lost["spike"] += sum(f.count for f in issues)
    return level


def _mains(columns, mapping, keep, n):
    if mapping.mains is None:
        return None
    found = states(columns[mapping.mains.name].to_pylist(), mapping.mains, mapping)
    found = found if keep is None else found[keep]
    return np.where(found[:n] == 0, 0, 1).astype(np.uint16)


def _feed(loop, found, time_s, words, mains, last_s, state):
    # Step the firmware at the rows at which something changes; returns the last joint word.
    joint = words.astype(np.uint16) | (np.uint16(256) if mains is None else mains << np.uint16(8))
    turns = np.empty(len(joint), bool)
    turns[0] = state is None or joint[0] != state
    np.not_equal(joint[1:], joint[:-1], out=turns[1:])
    steps = np.empty(len(time_s))
    steps[0] = time_s[0] - last_s
    np.subtract(time_s[1:], time_s[:-1], out=steps[1:])
    holes = steps > found.gap_s
    places = np.flatnonzero(turns | holes)
    times = openloop.grid_ms(time_s[places])
    for k, i in enumerate(places.tolist()):
        if holes[i] and loop.controller is not None:
            found.gaps += 1
            loop.end(max(loop.now_ms, int(openloop.grid_ms(time_s[i] - steps[i]))))
        word = int(joint[i])
        loop.feed(int(times[k]), word & 15, word >> 8)
    found.edges += len(places)
    return joint[-1]


def _wet(found, time, level, floor_m, before):
    # Adds the time of water on the floor: a wet row stands for the time half-way to its neighbours; returns the last.
    good = ~np.isnan(level)
    if not good.all():
        time, level = time[good], level[good]
    if not len(time):
        return before
    over = level > floor_m
    if not (over.any() or before[1]):
        return float(time[-1]), False
    steps = np.diff(time, prepend=time[0] if before[0] == -np.inf else before[0])
    earlier = np.concatenate(([before[1]], over[:-1]))
    found.floor_wet_s += float((steps * (over.astype(float) + earlier)).sum() / 2.0)
    return float(time[-1]), bool(over[-1])


def _days(time_s):
    # The days of rising seconds that have a row, and the place of the first row of each.
    first, last = time_s[0] // 86400.0, time_s[-1] // 86400.0
    if last - first > MOST_DAYS:  # a jump of the clock: day by day would be too many
        return np.unique(time_s // 86400.0, return_index=True)
    days = np.arange(first, last + 1.0)
    edges = np.searchsorted(time_s, days * 86400.0)
    full = np.append(edges[1:], len(time_s)) > edges
    return days[full], edges[full]


def _highest(found, loop, time_s, level):
    # The highest water of the log and of each day of the block.
    good = level if level.min() > -np.inf else np.where(np.isnan(level), -np.inf, level)
    days, edges = _days(time_s)
    for place, top in zip(days, np.maximum.reduceat(good, edges), strict=True):
        day = loop.day(int(place) * DAY_MS)
        day.highest_m = max(day.highest_m, float(top))
    row = int(np.argmax(good))
    if good[row] > found.highest_m:
        found.highest_m, found.highest_at_s = float(good[row]), float(time_s[row])
