"""Which mutants are put to the tests: all, changed lines, an earlier run's survivors, a sample, or hand mutants."""

import json
import random
from pathlib import Path

from host_sim.errors import InputError
from host_sim.proof.mutants import hand_mutants, mutations, runner


def wanted_modules(modules):
    """Return the modules to look at, those of the core for None.  Raises InputError for a name that is none.

    `station` and `boards` stand for all modules of theirs.
    """
    found = []
    for name in modules or mutations.MODULES:
        known = [*mutations.MODULES, *(one for key, rows in mutations.FAMILIES.items() for one in (key, *rows))]
        if name not in known:
            raise InputError(f'module "{name}": there are {", ".join(known)}')
        found.extend(mutations.FAMILIES.get(name, [name]))
    return found


def of_modules(modules, lines=None):
    """Return {module: Mutants}; `lines`: {module: line numbers}, None for all lines.  Empty modules are left out."""
    found = {}
    for name in wanted_modules(modules):
        mutants = list(mutations.Source(name).mutants(lines.get(name, set()) if lines is not None else None))
        if mutants:
            found[name] = mutants
    return found


def changed(root, since, modules=None):
    """Return {module: Mutants} on lines that differ from the commit `since`.  Raises InputError for no such commit."""
    return of_modules(modules, runner.changed_lines(root, since))


def by_hand(modules=None):
    """Return {module: HandMutants} of the list that is kept."""
    found = {}
    for mutant in hand_mutants.packaged():
        if mutant.module in wanted_modules(modules):
            found.setdefault(mutant.module, []).append(mutant)
    return found


def survived(found, path):
    """Return those of `found` that survived in a file that `--json` wrote.  Raises InputError."""
    before = _survived_before(path)
    left = {name: [m for m in mutants if _told(str(m)) in before] for name, mutants in found.items()}
    return {name: mutants for name, mutants in left.items() if mutants}


def sample(found, most, seed):
    """Return at most `most` of `found`, drawn by `seed`: the same for ever while the core stays the same."""
    everything = [mutant for mutants in found.values() for mutant in mutants]
    if len(everything) <= most:
        return found
    drawn = set(random.Random(f"mutants {seed}").sample(range(len(everything)), most))
    left = {}
    for place, mutant in enumerate(everything):
        if place in drawn:
            left.setdefault(mutant.module, []).append(mutant)
    return left


def _told(text):
    # A mutant without its line number, which moves when something above it is edited.
    place, rest = text.split(" ", 1)
    return place.split(".py:")[0], rest


def _survived_before(path):
    try:
        record = json.loads(Path(path).read_text(encoding="utf-8"))
        return {_told(text) for report in record.values() for text in report["survived"]}
    except OSError as error:
        raise InputError(f"--again {path}: {error.strerror}; give a file that `mutants --json` has written") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(f"--again {path}: not what `mutants --json` writes; run that first, into a file") from error
