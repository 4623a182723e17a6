"""The work of `sumpbench regress`: the corpus through both, one table, one exit code."""

import json

from rich.table import Table
from rich.text import Text

from host_sim.errors import InputError
from host_sim.replay import other_firmware, regress
from host_sim.report.console import console

MOST_NAMED = 4


def run(folder, firmwares, as_json):
    """Take every journal below a folder through the firmwares and print what differs.

    Returns 0 where every night comes out the same in both, 1 where any does not
    or where nothing was compared or no pump ever ran.  Raises InputError.
    """
    if len(firmwares) not in (1, 2):
        raise InputError(f"{len(firmwares)} firmwares are given: two are compared with each other, one with what the "
                         "journals recorded", "--firmware")  # fmt: skip
    loaded = [(str(path), other_firmware.load(path)) for path in firmwares]
    first, second = (loaded[0], loaded[1]) if len(loaded) == 2 else (None, loaded[0])
    names = ("the journal" if first is None else first[0], second[0])
    nights = [regress.compare(name, journal, first, second) for name, journal in regress.journals(folder)]
    ran = any(night.ran for night in nights) and any(night.compared for night in nights)
    different = [night for night in nights if not night.same]
    if as_json:
        print(json.dumps({**regress.as_json(nights, names), "a_pump_ran": ran}, indent=1))
    else:
        _tell(nights, different, names, ran)
    return 1 if different or not ran else 0


def _tell(nights, different, names, ran):
    screen = console()
    screen.print(Text(f"before: {names[0]}\nafter: {names[1]}"))
    if different:
        table = Table(box=None, pad_edge=False, header_style="bold")
        for heading in ("night", "first at", "decisions", "alarms"):
            table.add_column(heading)
        for night in different:
            at = "" if night.first_ms is None else _clock(night.first_ms)
            table.add_row(night.name, at, night.error or _decisions(night) or "same", _alarms(night) or "same")
        screen.print(table)
    same = len(nights) - len(different)
    screen.print(Text(f"{len(nights)} nights: {same} the same, {len(different)} different", style="bold"))
    if not ran:
        screen.print(Text("No pump ran in anything that was compared: this proves nothing.", style="bold"))


def _decisions(night):
    texts = []
    for channel in night.channels[:MOST_NAMED]:
        counts = [f"{len(part)} {word}" for part, word in
                  ((channel.moved, "moved"), (channel.gone, "gone"), (channel.new, "new")) if part]  # fmt: skip
        texts.append(f"{channel.name.replace('_', ' ')}: {', '.join(counts)}")
    more = len(night.channels) - MOST_NAMED
    return "\n".join(texts) + (f"\nand {more} other outputs" if more > 0 else "")


def _alarms(night):
    texts = [f"{_clock(time)} {name.replace('_', ' ')} {state}: {what}"
             for time, name, state, what in night.alarms[:MOST_NAMED]]  # fmt: skip
    more = len(night.alarms) - MOST_NAMED
    return "\n".join(texts) + (f"\nand {more} more" if more > 0 else "")


def _clock(time_ms):
    minutes, rest = divmod(time_ms, 60_000)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest / 1000:04.1f}"
