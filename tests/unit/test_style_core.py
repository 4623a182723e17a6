"""The control core holds integers only, knows no clock and imports nothing but itself.

Each rule is a function from a syntax tree to the lines that break it, so that
every rule is also shown to fail on a planted sample.
"""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CORE = sorted((ROOT / "firmware" / "lib" / "duplexsump" / "control").glob("*.py"))
FIRMWARE = sorted((ROOT / "firmware").rglob("*.py"))
LONGEST_FUNCTION_LINES = 60
# The one foreign module that the core may name: its compiler folds `const`, and CPython does without.
FOLDING = "micropython"
# Builtins through which a clock, a file, a pin or a float could come in after all.
DOORS = {"open", "input", "print", "eval", "exec", "__import__", "float", "complex", "round", "pow"}
# What MicroPython lacks or pays for dearly.
NOT_ON_BOARD = {"typing", "enum", "dataclasses", "collections.abc", "abc", "contextlib", "functools", "datetime"}


def floats(tree):
    """Return the lines that hold a float literal, a true division or a power."""
    lines = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            lines.append(node.lineno)
        if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div | ast.Pow):
            # A power of two constants is folded and stays whole; a negative exponent would not.
            whole = isinstance(node, ast.BinOp) and all(
                isinstance(side, ast.Constant) and isinstance(side.value, int) for side in (node.left, node.right)
            )
            if isinstance(node.op, ast.Div) or not whole:
                lines.append(node.lineno)
    return lines


def foreign_imports(tree):
    """Return the lines that import anything but a neighbour in the core or the folding `const`.

    What stands below `if _TYPES:` only the type check reads: there shapes may be named.
    """
    lines = []
    unread = {id(node) for each in ast.walk(tree) if isinstance(each, ast.If) and ast.unparse(each.test) == "_TYPES"
              for node in each.body if isinstance(node, ast.ImportFrom) and (node.level, node.module) == (2, "shapes")}
    for node in ast.walk(tree):
        if id(node) in unread:
            continue
        if isinstance(node, ast.Import):
            lines.append(node.lineno)
        if isinstance(node, ast.ImportFrom):
            names = [alias.name for alias in node.names]
            if node.level != 1 and not (node.level == 0 and node.module == FOLDING and names == ["const"]):
                lines.append(node.lineno)
    return lines


def doors(tree):
    """Return the lines that call a builtin through which the outside world or a float gets in."""
    calls = (node for node in ast.walk(tree) if isinstance(node, ast.Call))
    return [node.lineno for node in calls if isinstance(node.func, ast.Name) and node.func.id in DOORS]


def f_strings(tree):
    """Return the lines that build an f-string, which allocates."""
    return [node.lineno for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]


def not_on_board(tree):
    """Return the lines that use what MicroPython lacks: some modules, `match`; or attributes named out of pieces."""
    lines = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import) and any(alias.name in NOT_ON_BOARD for alias in node.names):
            lines.append(node.lineno)
        if isinstance(node, ast.ImportFrom) and node.module in NOT_ON_BOARD:
            lines.append(node.lineno)
        if isinstance(node, ast.Match):
            lines.append(node.lineno)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("getattr", "setattr"):
            # A name out of a table is fine; one put together from pieces is found by no search.
            lines += [node.lineno] * isinstance(node.args[1], ast.BinOp | ast.JoinedStr | ast.Call)
    return lines


def long_functions(tree):
    """Return the lines at which a function of more than LONGEST_FUNCTION_LINES lines begins."""
    functions = (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))
    return [node.lineno for node in functions if node.end_lineno - node.lineno + 1 > LONGEST_FUNCTION_LINES]


def breaches(paths, rule):
    """Return "file:line" for every breach of `rule` in the files at `paths`."""
    found = []
    for path in paths:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found += [f"{path.relative_to(ROOT)}:{line}" for line in rule(tree)]
    return found


def test_there_is_a_core_to_check():
    assert {"ticks.py", "records.py", "settings.py", "bands.py"} <= {path.name for path in CORE}


@pytest.mark.parametrize("rule", [floats, foreign_imports, doors, f_strings], ids=lambda rule: rule.__name__)
def test_the_core_keeps(rule):
    assert breaches(CORE, rule) == []


@pytest.mark.parametrize("rule", [not_on_board, long_functions], ids=lambda rule: rule.__name__)
def test_the_firmware_keeps(rule):
    assert breaches(FIRMWARE, rule) == []


LONG_BODY = "def f():\n" + "    x = 1\n" * LONGEST_FUNCTION_LINES
PLANTED = [
    (floats, "x = 1.5"),
    (floats, "x = 1e3"),
    (floats, "x = 2j"),
    (floats, "x = a / b"),
    (floats, "x /= 2"),
    (floats, "x = a ** b"),
    (foreign_imports, "import time"),
    (foreign_imports, "from time import ticks_ms"),
    (foreign_imports, "from ..station import loop"),
    (foreign_imports, "from micropython import mem_info"),
    (foreign_imports, "def f():\n    import machine"),
    (foreign_imports, "from ..shapes import Controller"),
    (foreign_imports, "if _TYPES:\n    from ..station import loop"),
    (doors, "x = float(y)"),
    (doors, "f = open('log')"),
    (f_strings, "x = f'{y} mm'"),
    (not_on_board, "from typing import Final"),
    (not_on_board, "import enum"),
    (not_on_board, "match x:\n    case 1:\n        pass"),
    (not_on_board, "setattr(o, 'pump_' + n, 1)"),
    (not_on_board, "x = getattr(o, 'pump_%d' % n)"),
    (long_functions, LONG_BODY),
]


@pytest.mark.parametrize(("rule", "sample"), PLANTED, ids=lambda value: getattr(value, "__name__", None))
def test_the_rule_can_fail(rule, sample):
    assert rule(ast.parse(sample)) != []


HARMLESS = [
    (floats, "x = a // b + 2 ** 30"),
    (foreign_imports, "from . import settings\nfrom .ticks import add\nfrom micropython import const"),
    (foreign_imports, "if _TYPES:\n    from ..shapes import Controller"),
    (doors, "x = int(y)"),
    (f_strings, "x = 'level %d mm' % y"),
    (not_on_board, "x = getattr(o, field[NAME])"),
    (long_functions, LONG_BODY.replace("    x = 1\n", "", 1)),
]


@pytest.mark.parametrize(("rule", "sample"), HARMLESS, ids=lambda value: getattr(value, "__name__", None))
def test_the_rule_lets_pass_what_is_allowed(rule, sample):
    assert rule(ast.parse(sample)) == []
