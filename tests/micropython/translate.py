"""Writes test modules anew in the Python that MicroPython understands: the same tests, some displays spelt out.

MicroPython has no `strict` in zip, no `vars`, no `*` or `**` inside displays, and
private constants of the firmware are folded away by its compiler.  Each module also
gets ARGUMENTS_OF: the names of every test's arguments, which MicroPython cannot
ask a function for.
"""

import ast
import importlib
from pathlib import Path

HELPERS = '''
def vars(thing):
    return dict(thing.__dict__)


def _merged(*parts):
    found = {}
    for part in parts:
        found.update(part)
    return found


def _joined(*parts):
    found = []
    for part in parts:
        found.extend(part)
    return found
'''


class Plain(ast.NodeTransformer):
    """Spells out what MicroPython lacks.  `firmware`: {name in the module: module of the firmware}."""

    def __init__(self, firmware):
        self.firmware = firmware

    def visit_Attribute(self, node):
        self.generic_visit(node)
        if node.attr.startswith("_") and node.attr.isupper() and getattr(node.value, "id", None) in self.firmware:
            return ast.Constant(getattr(self.firmware[node.value.id], node.attr))
        return node

    def visit_Call(self, node):
        self.generic_visit(node)
        if isinstance(node.func, ast.Name) and node.func.id == "zip":
            node.keywords = [keyword for keyword in node.keywords if keyword.arg != "strict"]
        return node

    def visit_Dict(self, node):
        self.generic_visit(node)
        if None not in node.keys:
            return node
        parts = []
        for key, value in zip(node.keys, node.values, strict=True):
            parts.append(value if key is None else ast.Dict([key], [value]))
        return ast.Call(ast.Name("_merged", ast.Load()), parts, [])

    def _display(self, node, kind):
        self.generic_visit(node)
        if not isinstance(getattr(node, "ctx", ast.Load()), ast.Load):
            return node
        if not any(isinstance(item, ast.Starred) for item in node.elts):
            return node
        parts = [item.value if isinstance(item, ast.Starred) else ast.List([item], ast.Load()) for item in node.elts]
        joined = ast.Call(ast.Name("_joined", ast.Load()), parts, [])
        return joined if kind == "list" else ast.Call(ast.Name(kind, ast.Load()), [joined], [])

    def visit_List(self, node):
        return self._display(node, "list")

    def visit_Tuple(self, node):
        return self._display(node, "tuple")

    def visit_Set(self, node):
        return self._display(node, "set")


def translate(text):
    """Return a module's source for MicroPython."""
    tree = ast.parse(text)
    names = {
        node.name: [argument.arg for argument in node.args.args]
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }
    firmware = {}
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.module == "duplexsump.control":
            for alias in node.names:
                firmware[alias.asname or alias.name] = importlib.import_module(f"duplexsump.control.{alias.name}")
    tree = ast.fix_missing_locations(Plain(firmware).visit(tree))
    return f"{HELPERS}\n{ast.unparse(tree)}\n\nARGUMENTS_OF = {names!r}\n"


def translate_tree(root, target, modules):
    """Translate tests.control modules and all of tests/ that they import, below `target`; return their names."""
    done, waiting = set(), [f"tests.control.{name}" for name in modules]
    while waiting:
        name = waiting.pop()
        if name in done:
            continue
        done.add(name)
        path = Path(*name.split(".")).with_suffix(".py")
        text = (Path(root) / path).read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("tests."):
                waiting.append(node.module)
        out = Path(target) / path
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(translate(text), encoding="utf-8")
    return sorted(done)
