"""What a command line names: a site file or a packaged scenario, faults to add, a seed; every error at once."""

from dataclasses import replace
from importlib import resources
from pathlib import Path

from host_sim.errors import InputError
from host_sim.site import effective
from host_sim.site import faults as fault_registry
from host_sim.site.load import load_site, packaged


def read(site, faults, seed, own_faults=True):
    """Return (the Site, the list of added Faults, the seed).  Raises InputError with every error.

    `site` is the path of a TOML file, the name of a packaged scenario, or None
    for the demo; `faults` and `seed` are texts, None for the site's own seed.
    `own_faults` False: the Site comes without the faults of its scenario.  A
    fault that never takes effect in the scenario is refused.
    """
    problems, plan = [], None
    try:
        is_file = site is not None and (site.endswith(".toml") or Path(site).exists())
        plan = load_site(site if is_file else packaged(spelt(site or "demo")))
        plan = plan if own_faults else replace(plan, faults=[])
    except InputError as error:
        problems += [f"{error.source}: {line}" if error.source else line for line in error.problems]
    added = []
    for text in faults:
        try:
            added.append(fault_registry.parse_fault(text, plan.begins_s if plan else 0.0))
        except InputError as error:
            problems += [f"--fault: {line}" for line in error.problems]
    if plan:
        problems += [f"{plan.path}: scenario.faults: {line}" for line in _refusals(plan.faults, plan)]
        problems += [f"--fault: {line}" for line in _refusals(added, plan)]
    if seed is not None and not (seed.isascii() and seed.isdigit() and int(seed) < 2**31):
        problems.append(f'--seed "{seed}": a whole number from 0 to {2**31 - 1} is wanted')
    if problems:
        raise InputError(problems)
    return plan, added, plan.seed if seed is None else int(seed)


def _refusals(faults, plan):
    return [line for fault in faults if (line := effective.refusal(fault, plan))]


def spelt(name):
    """Return the name of a packaged scenario as its file spells it: "water-table" is water_table.toml."""
    folder = resources.files("host_sim") / "scenarios"
    underscored = name.replace("-", "_")
    return underscored if (folder / f"{underscored}.toml").is_file() else name
