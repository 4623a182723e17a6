"""The rows of `rules.toml`: a rule, and the line of the core that leaves it out."""

import ast
import copy
import tomllib
from dataclasses import dataclass
from pathlib import Path

from host_sim.proof.mutants import hand_mutants
from host_sim.proof.mutants.mutations import Source

PROBE = "_probe"  # the name by which a probed module calls it
# What may be asked once more without changing anything; of a line that would call anything else, it counts that it ran.
PURE = {"running", "left_ms", "min", "max", "bool", "bytes", "_pump_down_ms", "_lowest", "_lead_asks", "_can_start",
        "rested", "suspect", "hand", "off", "auto", "on", "_jams", "_may", "_runs_on", "_relieved", "_tells", "_out",
        "_useless", "_doubted", "_own", "_gap", "vouchers", "on_mains", "behind", "_drains", "_low",
        "_failed", "_helpless"}  # fmt: skip


@dataclass(frozen=True)
class Rule:
    """A rule that can be left out: `mutant` rewrites its line, `night` names the test that keeps its first night."""

    name: str
    mutant: object
    night: str


def packaged():
    """Return the Rules kept beside this file.  Raises InputError for a row whose line the core does not hold."""
    text = (Path(__file__).parent / "rules.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)["rule"]
    mutants = hand_mutants.read(text, "rules.toml", "rule")
    return [Rule(f"{row['clause']}: {row['what']}", mutant, row.get("night", ""))
            for row, mutant in zip(rows, mutants, strict=True)]  # fmt: skip


def switch_off(rule):
    """Leave a rule out of the core that runs in this process; return what puts it back."""
    return Source(rule.mutant.module).switch_on(rule.mutant)


class Probes:
    """The core as it stands, that notes in `reached` whose line would have said something else (places of `rules`)."""

    def __init__(self, rules):
        self.reached = set()
        self.modules = {}
        for place, rule in enumerate(rules):
            places = self.modules.setdefault(rule.mutant.module, {}).setdefault(rule.mutant.function, [])
            places.append((place, rule.mutant))

    def probe(self, place, said, other):
        """Note it if a line says `said` where it would say `other` without its rule."""
        if said != other:
            self.reached.add(place)
        return said

    def __enter__(self):
        self.before = []
        for module, functions in self.modules.items():
            source = Source(module)
            vars(source.module)[PROBE] = self.probe
            for function, places in functions.items():
                live = source.live(function)
                self.before.append((live, live.__code__))
                source.functions[function] = probed(source.functions[function], places)
                live.__code__ = source.compiled(function)
        return self

    def __exit__(self, *_):
        for live, code in self.before:
            live.__code__ = code


def probed(function, places):
    """Return a copy of a function's tree with a probe at the line of each (place, mutant)."""
    function = copy.deepcopy(function)
    found = []
    for place, mutant in places:
        statement = next(n for n in ast.walk(function) if isinstance(n, ast.stmt) and n.lineno == mutant.line)
        found.append((statement, place, *_difference(_parsed(mutant.text), _parsed(mutant.becomes))))
    # The innermost first, so that what holds it takes it along.
    for statement, place, path, other in sorted(found, key=lambda row: -len(row[2])):
        if path and _pure(other):
            _wrap(statement, path, place, other)
        else:
            _before(function, statement, place)
    return ast.fix_missing_locations(function)


def _parsed(line):
    # A line that begins a block stands without it, an `elif` without its `if`.
    text = line.split("  #")[0].rstrip()
    text = text.removeprefix("el") if text.startswith("elif ") else text
    return ast.parse(text + " pass" if text.endswith(":") else text).body[0]


def _difference(one, other):
    # (path to the smallest expression in which two statements differ, the other's): () where it is all of them.
    if type(one) is not type(other):
        return (), other
    path = ()
    while True:
        steps = list(_apart(one, other))
        if len(steps) != 1:
            return path, other
        step, said, instead = steps[0]
        if not isinstance(said, ast.expr) or not isinstance(instead, ast.expr) or _stored(said):
            return path, other
        path, one, other = (*path, step), said, instead


def _apart(one, other):
    # What of two nodes of a kind differs: (step, node, node), None as the nodes where it is no expression.
    if type(one) is not type(other):
        yield (), None, None
        return
    for name, a in ast.iter_fields(one):
        b = getattr(other, name)
        if isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
            pairs = [((name, i), *pair) for i, pair in enumerate(zip(a, b, strict=True))]
        else:
            pairs = [((name, None), a, b)]
        for step, left, right in pairs:
            if _dump(left) != _dump(right):
                yield step, left, right


def _dump(node):
    return [_dump(one) for one in node] if isinstance(node, list) else (
        ast.dump(node) if isinstance(node, ast.AST) else repr(node))  # fmt: skip


def _stored(node):
    return isinstance(getattr(node, "ctx", None), ast.Store)


def _pure(node):
    calls = [n.func for n in ast.walk(node) if isinstance(n, ast.Call)]
    return all((f.attr if isinstance(f, ast.Attribute) else getattr(f, "id", "")) in PURE for f in calls)


def _wrap(statement, path, place, other):
    parent, said = None, statement
    for name, i in path:
        parent, said = said, getattr(said, name) if i is None else getattr(said, name)[i]
    words = [said, other]
    if isinstance(statement, ast.If) and len(path) == 1:  # of a condition only its truth is asked
        words = [ast.Call(ast.Name("bool", ast.Load()), [word], []) for word in words]
    call = ast.Call(ast.Name(PROBE, ast.Load()), [ast.Constant(place), *words], [])
    name, i = path[-1]
    if i is None:
        setattr(parent, name, call)
    else:
        getattr(parent, name)[i] = call


def _before(function, statement, place):
    # Whether it ran at all: a call before it, or in its condition, since nothing can stand before an `elif`.
    call = ast.Call(ast.Name(PROBE, ast.Load()), [ast.Constant(place), ast.Constant(1), ast.Constant(0)], [])
    if isinstance(statement, ast.If):
        statement.test = ast.BoolOp(ast.And(), [call, statement.test])
        return
    for node in ast.walk(function):
        for name in ("body", "orelse"):
            block = getattr(node, name, None)
            if isinstance(block, list) and statement in block:
                block.insert(block.index(statement), ast.Expr(call))
                return
