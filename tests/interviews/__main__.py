"""The command: `python -m tests.interviews --count 100 --seed 1`.  Exit code 1 where a page promised too much."""

import argparse
import json
import sys
import time
import tomllib
from collections import Counter
from dataclasses import asdict
from pathlib import Path

from tests.interviews.draw import draw
from tests.interviews.judge import judge
from tests.interviews.person import talk


def parse(argv=None):
    """Return the arguments."""
    parser = argparse.ArgumentParser(prog="python -m tests.interviews", description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="how many interviews (default 20)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first one")
    parser.add_argument("--nights", type=int, default=2, help="covered faults tried on each (default 2)")
    parser.add_argument("--only", type=int, metavar="N", help="replay interview N: what was typed, site file, verdict")
    parser.add_argument("--json", type=Path, help="write every verdict here")
    return parser.parse_args(argv)


def replay(args):
    """Show one interview."""
    text, person = talk(draw(args.seed, args.only))
    for key, line in person.typed:
        print(f"{key:16} {line!r}")
    print(text)
    tomllib.loads(text)
    found = judge(args.seed, args.only, args.nights)
    print(json.dumps(asdict(found), indent=1))
    return 1 if found.broken else 0


def main(argv=None):
    """Judge the interviews and print the count of each kind."""
    args = parse(argv)
    if args.only is not None:
        return replay(args)
    began, all_found = time.perf_counter(), []
    for number in range(args.first, args.first + args.count):
        found = judge(args.seed, number, args.nights)
        all_found.append(found)
        for line in found.broken:
            print(f"{args.seed}/{number} ({found.pair}, {found.floats}): {line}", flush=True)
        if (number + 1) % 100 == 0:
            print(f"... {number + 1}, {time.perf_counter() - began:.0f} s", flush=True)
    print(summary(all_found))
    if args.json:
        args.json.write_text(json.dumps([asdict(found) for found in all_found], indent=1), encoding="utf-8")
    return 1 if any(found.broken for found in all_found) else 0


def summary(all_found):
    """Return the counts as a text."""
    sized = [found for found in all_found if not found.refused]
    nights = [tried for found in sized for tried in found.tried]
    lines = [
        f"{len(all_found)} interviews: {len(sized)} sized, {len(all_found) - len(sized)} refused",
        "pages: " + ", ".join(f"{count} {word}" for word, count in Counter(f.word for f in sized).most_common()),
        "pumps on: " + ", ".join(f"{count} {pair}" for pair, count in Counter(f.pair for f in sized).most_common()),
        "floats: " + ", ".join(f"{count} {kind}" for kind, count in Counter(f.floats for f in sized).most_common()),
        f"kinds of trouble covered: {sum(f.promised for f in sized)} of {sum(f.rows for f in sized)}; pages that cover "
        f"none: {sum(not f.promised for f in sized)}",
        f"nights under a covered fault: {len(nights)}, {sum(tried[1] for tried in nights):.0f} h; longest dry run "
        f"{max((tried[3] for tried in nights), default=0.0)} s, most dry starts in an hour "
        f"{max((tried[4] for tried in nights), default=0)}",
        f"interviews that broke a promise: {sum(bool(f.broken) for f in all_found)}",
    ]
    serious = Counter(name for f in sized for name in f.serious)
    lines.insert(2, "does not fit for: " + ", ".join(f"{name} {count}" for name, count in serious.most_common(8)))
    refused = Counter(f.refused.split(":")[0] for f in all_found if f.refused)
    lines += [f"  refused: {count} x {why}" for why, count in refused.most_common(5)]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
