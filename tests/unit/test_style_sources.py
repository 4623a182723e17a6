"""A check against the world names its source: in the comment above it, or in the head of its file."""

import ast
import re
from pathlib import Path

import pytest

HERE = Path(__file__).parents[1] / "reference"
NAMED = re.compile(r"Source:|Sources:|Our own|our own", re.MULTILINE)


def unsourced(text):
    """Return the names of the tests in a file's text that no source stands above."""
    tree, lines = ast.parse(text), text.splitlines()
    if NAMED.search(ast.get_docstring(tree) or ""):
        return []
    found = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            first = min([node.lineno, *(one.lineno for one in node.decorator_list)]) - 1
            above = first
            while above and lines[above - 1].startswith("#"):
                above -= 1
            if not NAMED.search("\n".join(lines[above:first])) and not NAMED.search(ast.get_docstring(node) or ""):
                found.append(node.name)
    return found


@pytest.mark.parametrize("path", sorted(HERE.glob("test_*.py")), ids=lambda path: path.stem)
def test_every_check_against_the_world_names_its_source(path):
    assert unsourced(path.read_text(encoding="utf-8")) == []


def test_a_check_without_a_source_would_be_found():
    text = "# Source: a book\ndef test_a():\n    pass\n\n\n# Of numbers.\ndef test_b():\n    pass\n"
    assert unsourced(text) == ["test_b"]
