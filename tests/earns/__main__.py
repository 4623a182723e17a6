"""The command: `python -m tests.earns --nights 200 --seed 7`."""

import argparse
import os
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from host_sim.compiled import select

os.environ["SUMPBENCH_CORE"] = "pure"
select.use_pure("rules are switched off in live code")

from tests.earns import judges, rules  # noqa: E402  (the core is chosen first)


@dataclass
class Found:
    """What came of the nights that a rule's line reached."""

    reached: int = 0
    played: int = 0
    differed: int = 0  # played nights in which anything at all came out otherwise
    worse: Counter = field(default_factory=Counter)  # by what there was more of
    better: Counter = field(default_factory=Counter)
    harmed: int = 0  # nights with more of judges.HARM
    louder: int = 0  # others with more noise or wear
    spared: int = 0  # nights with less of judges.HARM
    quieter: int = 0
    worst: tuple = (0.0, "")  # weight, the line that replays it

    def add(self, base, without, line):
        """Count a night: as it is, and without the rule."""
        self.played += 1
        self.differed += base != without
        more, less = judges.more(base, without), judges.more(without, base)
        self.worse.update(more)
        self.better.update(less)
        harm = [name for name in more if name in judges.HARM]
        self.harmed += bool(harm)
        self.louder += bool(more and not harm)
        self.spared += any(name in judges.HARM for name in less)
        self.quieter += bool(less) and not any(name in judges.HARM for name in less)
        weight = _weight(base, without)
        if more and weight > self.worst[0]:
            self.worst = (weight, f"{line} ({_said(base, without, more)})")


def _weight(base, without):
    harm = sum(max(0.0, getattr(without, name) - getattr(base, name)) for name in judges.HARM)
    noise = sum(max(0.0, getattr(without, name) - getattr(base, name)) for name in ("alarms", "horn_min", "starts"))
    return 1000.0 * harm + noise


def _said(base, without, names):
    return ", ".join(f"{name} {getattr(base, name):.0f} -> {getattr(without, name):.0f}" for name in names)


def parse(argv=None):
    """Return the arguments."""
    parser = argparse.ArgumentParser(prog="python -m tests.earns", description=__doc__)
    parser.add_argument("--nights", type=int, default=200, help="nights of the campaign (default 200)")
    parser.add_argument("--second", type=int, help="nights of the second judge (default: as many)")
    parser.add_argument("--months", type=int, default=0, help="months of `told`, spread over its plan (default none)")
    parser.add_argument("--first", type=int, default=0, help="number of the first night and month")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most", type=int, default=30,
                        help="of the nights that a rule reached play so many of each judge (30)")
    parser.add_argument("--enough", type=int, default=3,
                        help="go on to the next rule after so many harmed nights, or twice as many louder ones (3)")
    parser.add_argument("--only", action="append", default=[], metavar="TEXT",
                        help="rules with this text in their name; may be given again")
    parser.add_argument("--out", type=Path, help="write the table here as Markdown")
    return parser.parse_args(argv)


def base(found, judge, seed, numbers):
    """Play nights with the core as it is; return {number: (what was noticed, places of the rules reached)}."""
    played = {}
    with rules.Probes(found) as probes:
        for number in numbers:
            probes.reached.clear()
            played[number] = (judges.JUDGES[judge](seed, number), frozenset(probes.reached))
            progress(f"{judge} {len(played)} of {len(numbers)} as it is")
    return played


def without(place, rule, nights, args):
    """Return the Found of a rule: what it reached, played without it until enough is known."""
    reached = [(judge, number) for judge, played in nights.items() for number in _reached(place, played)]
    result = Found(len(reached))
    off = rules.switch_off(rule)
    try:
        for judge, number in _most(reached, args.most):
            other = _played(judge, args.seed, number)
            result.add(nights[judge][number][0], other, judges.replay(judge, args.seed, number))
            progress(f"{rule.name}: {result.played} of {result.reached}, {result.harmed} harmed")
            if result.harmed >= args.enough or result.louder >= 2 * args.enough:
                break
    finally:
        off()
    return result


def _played(judge, seed, number):
    try:
        return judges.JUDGES[judge](seed, number)
    except ValueError:  # a state machine of the core was asked for what cannot happen
        return judges.CRASHED


def _reached(place, played):
    return [number for number, (_noticed, places) in played.items() if place in places]


def _most(reached, most):
    # So many of each judge's.
    counts = Counter()
    for judge, number in reached:
        counts[judge] += 1
        if counts[judge] <= most:
            yield judge, number


def progress(text):
    """Show what is being done, on one line."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{text[:110]}\x1b[K")


HEAD = ("rule", "reached", "played", "differed", "harmed", "louder", "spared", "quieter", "more of what",
        "less of what", "worst night without it")  # fmt: skip


def row(rule, result):
    """Return a row of the table, as texts."""
    counts = (result.reached, result.played, result.differed, result.harmed, result.louder, result.spared,
              result.quieter)
    kinds = (_counted(result.worse), _counted(result.better))
    return (rule.name, *map(str, counts), *kinds, result.worst[1] or (rule.night and f"its own: {rule.night}"))


def _counted(kinds):
    return ", ".join(f"{name} {count}" for name, count in kinds.most_common())


def main():
    """Run what the command line asks for."""
    args = parse()
    began = time.process_time()
    found = [rule for rule in rules.packaged() if not args.only or any(text in rule.name for text in args.only)]
    second = args.nights if args.second is None else args.second
    counts = {"campaign": args.nights, "second": second, "month": args.months}
    nights = {judge: base(found, judge, args.seed, range(args.first, args.first + count))
              for judge, count in counts.items() if count}  # fmt: skip
    lines = [" | ".join(HEAD), " | ".join("---" for _ in HEAD)]
    for place, rule in enumerate(found):
        lines.append(" | ".join(row(rule, without(place, rule, nights, args))))
        print(f"{lines[-1]}", flush=True)
    spent = f"seed {args.seed}, {counts}, {time.process_time() - began:.0f} s of processor time"
    print(spent)
    if args.out:
        args.out.write_text(spent + "\n\n" + "\n".join(f"| {line} |" for line in lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
