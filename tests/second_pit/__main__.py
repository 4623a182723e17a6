"""The command: `python -m tests.second_pit --nights 200 --seed 1`."""

import argparse
import json
import sys
from pathlib import Path

from .brain import BRAINS
from .campaign import as_dicts, judge, one_line, results, table, worst
from .faults import clock
from .nights import CLASSES, EXTRA, describe, draw


def parse(argv=None):
    """Return the arguments."""
    parser = argparse.ArgumentParser(prog="python -m tests.second_pit", description=__doc__)
    parser.add_argument("--nights", type=int, default=100, help="how many nights (default 100)")
    parser.add_argument("--first", type=int, default=0, help="number of the first night")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--class", dest="group", default="all", choices=[*EXTRA, *CLASSES], metavar="CLASS",
                        help="one of " + ", ".join([*EXTRA, *CLASSES]))
    parser.add_argument("--hours", type=float, default=3.0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--brain", default="firmware", choices=list(BRAINS), help="a controller broken on purpose")
    parser.add_argument("--json", type=Path, help="write every night's result here")
    parser.add_argument("--worst", type=int, default=25, help="how many nights to list")
    parser.add_argument("--only", type=int, metavar="N", help="replay night N with its timeline")
    parser.add_argument("--without", default="", metavar="1,2", help="with --only: leave these faults out")
    parser.add_argument("--peak", type=float, help="with --only: highest inflow in parts of one pump")
    parser.add_argument("--from", dest="since", type=float, default=0.0, metavar="S", help="timeline from here, in s")
    parser.add_argument("--to", dest="until", type=float, default=1e9, metavar="S", help="timeline to here, in s")
    parser.add_argument("--least", action="store_true", help="with --only: also look for fewer faults that do as much")
    return parser.parse_args(argv)


def replay(args):
    """Show one night: what it is, its timeline, its result."""
    without = tuple(int(part) for part in args.without.split(",") if part)
    night = draw(args.seed, args.only, args.group, hours=args.hours, without=without, peak=args.peak)
    print(describe(night))

    def log(t, text, pit):
        if args.since <= t <= args.until:
            print(f"{clock(t)}  {1000 * pit.level:5.0f} mm  {1000 * pit.inflow:5.2f} L/s  {text}")

    result = judge(night, args.only, args.brain, log)
    print(one_line(result))
    print(f"dry {result.dry_s:.1f} s in all, longest {result.longest_dry_s:.1f} s; starts an hour "
          f"{result.starts_per_hour}; alarms: {' '.join(result.alarms) or 'none'}")
    for when, what in result.violations:
        print(f"violation {clock(when)}: {what}")
    if args.least:
        for i in range(1, night.extras["drawn_faults"] + 1):
            if i not in without:
                fewer = draw(args.seed, args.only, args.group, hours=args.hours, without=(*without, i), peak=args.peak)
                print("without fault", i, "->", one_line(judge(fewer, args.only, args.brain)))


def campaign(args):
    """Run many nights, show progress and the table."""
    found = []
    numbers = range(args.first, args.first + args.nights)
    for result in results(args.seed, numbers, args.group, hours=args.hours, brain=args.brain, workers=args.workers):
        found.append(result)
        floods = sum(r.flooded for r in found)
        avoidable = sum(bool(r.avoidable) for r in found)
        print(f"\r{len(found)} of {args.nights} nights, {floods} floods, {avoidable} avoidable", end="",
              file=sys.stderr, flush=True)
    print(file=sys.stderr)
    if args.json:
        args.json.write_text(json.dumps(as_dicts(found), indent=1) + "\n", encoding="utf-8")
    print(f"seed {args.seed}, class {args.group}, {len(found)} nights of {args.hours:g} h, brain {args.brain}")
    print("\n".join(table(found)))
    lines = worst(found, args.worst)
    if lines:
        print("\nto look at, worst first (python -m tests.second_pit ...):")
        print("\n".join(lines))


if __name__ == "__main__":
    arguments = parse()
    if arguments.only is None:
        campaign(arguments)
    else:
        replay(arguments)
