"""Every mutant of every line of the gate is killed by the gate's claims, or named here with the reason.

A mutant is the gate with one small mistake: a comparison turned, a constant one
off, `and` for `or`, a `not` too many, an operator exchanged, a statement or a
condition dropped, a name exchanged for its neighbour.  It runs in this process.
"""

import ast
import copy
import functools
import inspect
import types

import pytest
from duplexsump.control import gate as real_gate

from tests.control import test_gate as claims
from tests.control.gate_door import opener

SOURCE = inspect.getsource(real_gate)

# Mutants that no claim can tell from the gate, by (line of source, mutation), each with the reason.
EQUIVALENT = {
    ("for n in range(2):", "constant + 1"): "there is no third pump: its bit is never in `out`",
}

COMPARISONS = {
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
}
OPERATORS = {
    ast.Add: (ast.Sub,), ast.Sub: (ast.Add,), ast.BitAnd: (ast.BitOr,), ast.BitOr: (ast.BitAnd,),
    ast.BitXor: (ast.BitOr, ast.BitAnd), ast.LShift: (ast.RShift,), ast.RShift: (ast.LShift,),
}


def is_docstring(node):
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


def replacements(node):
    """Yield (what, replacement) for one node of the tree."""
    if isinstance(node, ast.Compare):
        for other in COMPARISONS.get(type(node.ops[0]), ()):
            changed = copy.deepcopy(node)
            changed.ops = [other()]
            yield f"{type(node.ops[0]).__name__} -> {other.__name__}", changed
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield "constant flipped", ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield "constant + 1", ast.Constant(node.value + 1)
        yield "constant - 1", ast.Constant(node.value - 1)
    if isinstance(node, ast.BoolOp):
        changed = copy.deepcopy(node)
        changed.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield "and <-> or", changed
        for i in range(len(node.values)):
            rest = node.values[:i] + node.values[i + 1 :]
            yield f"condition {i} dropped", rest[0] if len(rest) == 1 else ast.BoolOp(node.op, copy.deepcopy(rest))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.Invert):
        yield f"{type(node.op).__name__} dropped", copy.deepcopy(node.operand)
    if isinstance(node, ast.BinOp | ast.AugAssign):
        for other in OPERATORS.get(type(node.op), ()):
            changed = copy.deepcopy(node)
            changed.op = other()
            yield f"{type(node.op).__name__} -> {other.__name__}", changed
    if isinstance(node, ast.If | ast.IfExp):
        for value in (True, False):
            changed = copy.deepcopy(node)
            changed.test = ast.Constant(value)
            yield f"condition {value}", changed
        changed = copy.deepcopy(node)
        changed.test = ast.UnaryOp(ast.Not(), changed.test)
        yield "condition negated", changed
    if isinstance(node, ast.stmt) and not isinstance(node, ast.FunctionDef | ast.ClassDef) and not is_docstring(node):
        yield "statement dropped", ast.Pass()
    if isinstance(node, ast.Return) and node.value is not None:
        yield "returns nothing", ast.Return(None)
    yield from exchanged_names(node)


def exchanged_names(node):
    """Yield a setting, timer or argument exchanged for another one that stands in the gate as well."""
    pools = ({"REST", "REST_LAG", "REST_FLOOD"}, {"BOOT", "BOOT_SHORT", "BOOT_FLOOD", "BOOT_COUNT", "SPACING"},
             {"MIN_OFF_MS", "LAG_MIN_OFF_MS", "FLOOD_MIN_OFF_MS", "BOOT_HOLD_MS"},
             {"GENERATOR_SPACING_MS", "START_SPACING_MS"}, {"barred", "on_battery", "out"}, {"contacts", "wet"})
    if isinstance(node, ast.Attribute):
        for pool in pools:
            for name in sorted(pool - {node.attr}) if node.attr in pool else ():
                yield f"{node.attr} -> {name}", ast.Attribute(copy.deepcopy(node.value), name, node.ctx)
    contacts = ("LEAD", "LAG", "HIGH")
    if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load) and node.id in contacts:
        for name in contacts:
            if name != node.id:
                yield f"{node.id} -> {name}", ast.Name(name, node.ctx)


def places(tree):
    """Yield (node, setter) for every node that hangs in the tree."""
    for parent in ast.walk(tree):
        for field, value in ast.iter_fields(parent):
            if isinstance(value, ast.AST):
                yield value, (parent, field, None)
            elif isinstance(value, list):
                for i, item in enumerate(value):
                    if isinstance(item, ast.AST):
                        yield item, (parent, field, i)


def put(place, node):
    parent, field, i = place
    if i is None:
        setattr(parent, field, node)
    else:
        getattr(parent, field)[i] = node


def mutants():
    """Yield (line, what, module source tree) of every mutant; the tree is whole again after each."""
    tree = ast.parse(SOURCE)
    for node, place in list(places(tree)):
        for what, replacement in replacements(node):
            put(place, replacement)
            yield getattr(node, "lineno", 0), what, tree
            put(place, node)


def build(tree):
    """Return the gate module that `tree` makes; raises what running it raises."""
    module = types.ModuleType("duplexsump.control.gate")
    module.__package__ = "duplexsump.control"
    exec(compile(ast.fix_missing_locations(copy.deepcopy(tree)), "mutant of gate.py", "exec"), module.__dict__)
    return module


def killer(tree):
    """Return the name of the first claim that fails on a mutant, or None."""
    try:
        door = opener(build(tree))
    except Exception as error:
        return f"does not load: {error!r}"
    for name, claim in vars(claims).items():
        if name.startswith("test_"):
            try:
                claim(door)
            except Exception as error:
                return f"{name}: {type(error).__name__}"
    return None


def test_the_gate_itself_passes_its_claims():
    assert killer(ast.parse(SOURCE)) is None


@functools.cache
def verdicts():
    """Return (line, what, killer or None) of every mutant."""
    return [(line, what, killer(tree)) for line, what, tree in mutants()]


def test_every_mutant_of_every_line_is_killed_or_named():
    survivors, killed, lines = [], 0, set()
    source = SOURCE.splitlines()
    for line, what, by in verdicts():
        text = source[line - 1].strip() if line else ""
        if by:
            killed += 1
            lines.add(line)
        elif (text, what) not in EQUIVALENT:
            survivors.append(f"line {line}: {what}: {text}")
    assert not survivors, "\n".join(survivors)
    assert killed > 150, f"only {killed} mutants: the generator itself has gone blind"
    # Each line with code in it has had at least one mutant.
    missed = code_lines() - lines
    assert not missed, [f"{n}: {source[n - 1]}" for n in sorted(missed)]


def code_lines():
    """Return the lines on which a statement of the gate begins, without definitions and docstrings."""
    return {
        node.lineno
        for node in ast.walk(ast.parse(SOURCE))
        if isinstance(node, ast.stmt)
        and not isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not is_docstring(node)
    }


def test_every_name_in_the_list_of_equivalents_is_a_mutant_that_survives():
    source = SOURCE.splitlines()
    seen = {(source[line - 1].strip(), what) for line, what, by in verdicts() if line and not by}
    assert set(EQUIVALENT) <= seen


@pytest.mark.parametrize(("good", "bad"), [
    ("want &= ~self.barred", "want &= self.barred"), ("self.contacts & HIGH", "self.contacts & LAG"),
])
def test_canary_a_gate_with_a_plain_mistake_is_killed(good, bad):
    assert good in SOURCE
    assert killer(ast.parse(SOURCE.replace(good, bad)))


def test_canary_a_harmless_change_is_not_called_a_kill():
    assert killer(ast.parse(SOURCE.replace("at = self.timers.at", "at = self.timers.at or None"))) is None
