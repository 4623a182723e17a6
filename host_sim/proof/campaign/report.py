"""What a campaign found: the table by fault, the worst nights as one-line reproductions, the picture."""

import math
from dataclasses import dataclass

from host_sim.proof.campaign import nights


@dataclass
class Row:
    """One kind of fault (or how many at once): counts of nights."""

    name: str
    must: str = ""
    nights: int = 0
    dry: int = 0
    alarmed: int = 0  # flooded, and somebody had been called before
    silent: int = 0  # flooded, and nobody had
    broken: int = 0
    single_dry: int = 0
    least_lead_s: float = math.inf

    def add(self, record):
        """Count one night."""
        self.nights += 1
        self.dry += record["dry"]
        self.single_dry += record["single_dry"]
        self.broken += bool(record["broken"])
        lead = record.get("lead_s", math.nan)
        if not record["dry"]:
            if lead is not None and lead >= 0.0:
                self.alarmed += 1
                self.least_lead_s = min(self.least_lead_s, lead)
            else:
                self.silent += 1


def by_fault(records):
    """Return Rows: no fault, each kind, and two or three at once; in the order of the written table."""
    faults, _pairs = nights.table()
    rows = {name: Row(name, must) for name, (_group, must) in faults.items()}
    none, two, three = Row("(no fault)", "dry"), Row("(two at once)"), Row("(three at once)")
    total = Row("all nights")
    for record in records:
        names = record["kinds"].split()
        total.add(record)
        for name in names:
            rows[name].add(record)
        if not names:
            none.add(record)
        if len(names) == 2:
            two.add(record)
        if len(names) >= 3:
            three.add(record)
    found = [none, *rows.values(), two, three, total]
    return [row for row in found if row.nights]


def must_rows(records):
    """Return {(how many faults, what the table asks): Row}: how the written table was kept."""
    rows = {}
    for record in records:
        key = (len(record["kinds"].split()), record["must"])
        rows.setdefault(key, Row(f"{key[0]} faults", key[1])).add(record)
    return dict(sorted(rows.items()))


def worst(records, most=10):
    """Return the worst nights first: broken promises, then the shortest warning, then the longest wet floor."""
    def badness(record):
        lead = record.get("lead_s", math.nan)
        return (not record["broken"], record["dry"], lead if lead == lead else -1.0, -record.get("floor_wet_s", 0.0))

    return [r for r in sorted(records, key=badness)[:most] if r["broken"] or not r["dry"]]


def reproduction(record):
    """Return the one line that runs a night again."""
    return f"sumpbench campaign --seed {record['seed']} --only {record['number']}"


def picture(records, path):
    """Draw nights by number of faults (dry, flooded but called, flooded silently) for the pair and the float switch.

    Beside it the warning time of the flooded nights, and the longest dry run of each single-float night.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, 7.2), layout="constrained")
    FigureCanvasAgg(figure)
    top, left, right = figure.subplot_mosaic([["bars", "bars"], ["lead", "run"]]).values()
    _bars(top, records)
    _leads(left, records)
    _dry_runs(right, records)
    seed = records[0]["seed"]
    figure.suptitle(f"{len(records)} invented nights, seed {seed}: the pair beside one pump on a float switch")
    figure.savefig(path, dpi=110)


def _bars(axes, records):
    counts = sorted({len(r["kinds"].split()) for r in records})
    words = {0: "no fault", 1: "one fault", 2: "two faults", 3: "three faults"}
    ticks, labels = [], []
    for place, count in enumerate(counts):
        group = [r for r in records if len(r["kinds"].split()) == count]
        row = Row("")
        for record in group:
            row.add(record)
        share = 100.0 / len(group)
        x, y = 3.0 * place, 3.0 * place + 1.0
        axes.bar(x, row.dry * share, color="#3a7ca5", label="dry" if not place else None)
        axes.bar(x, row.alarmed * share, bottom=row.dry * share, color="#e0a458",
                 label="flooded, called before" if not place else None)  # fmt: skip
        axes.bar(x, row.silent * share, bottom=(row.dry + row.alarmed) * share, color="#b23a48",
                 label="flooded, nobody called" if not place else None)  # fmt: skip
        axes.bar(y, row.single_dry * share, color="#9db4c0", label="float switch: dry" if not place else None)
        axes.bar(y, 100.0 - row.single_dry * share, bottom=row.single_dry * share, color="#5c5c5c",
                 label="float switch: flooded" if not place else None)  # fmt: skip
        ticks += [x, y]
        labels += [f"pair\n{words.get(count, count)}\n{len(group)} nights", "float switch"]
    axes.set_xticks(ticks, labels, fontsize=9)
    axes.set_ylabel("share of nights, %")
    axes.set_ylim(0.0, 100.0)
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), fontsize=9, frameon=False)


def _leads(axes, records):
    leads = [r["lead_s"] / 60.0 for r in records if not r["dry"] and r.get("lead_s", math.nan) == r.get("lead_s")]
    axes.hist(leads, bins=30, color="#e0a458")
    axes.set_xlabel("warning before the floor was wet, minutes")
    axes.set_ylabel("flooded nights")


def _dry_runs(axes, records):
    faults, _pairs = nights.table()
    single = [r for r in records if len(r["kinds"].split()) == 1 and faults[r["kinds"]][0] == "float"]
    axes.hist([r["longest_dry_run_s"] for r in single], bins=30, color="#3a7ca5")
    axes.set_xlabel("longest dry run of a night with one faulty float, s")
    axes.set_ylabel("nights")
