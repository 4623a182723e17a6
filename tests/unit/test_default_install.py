"""What a default install runs: its files import at their head only what the default dependencies bring."""

import ast
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
OURS = {"host_sim", "hil", "duplexsump", "sumpbench_core", "sumpbench_loop"}
# Brought by a default dependency under another name.
BROUGHT = {"tomli_w", "mpl_toolkits", "markupsafe"}
ELSEWHERE = {"host_sim/board/start.py"}  # runs under MicroPython


def defaults():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    found = tomllib.loads(text)["project"]["dependencies"]
    return {one.split(">")[0].replace("-", "_") for one in found} | BROUGHT


def at_the_head(path):
    """Return the names of what a file imports at its head: not in a function, not in a `try`."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = set()
    for node in tree.body:
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names.add(node.module.split(".")[0])
    return names


def test_the_simulator_needs_the_default_dependencies_alone():
    known = defaults() | OURS | set(sys.stdlib_module_names)
    files = [path for path in (ROOT / "host_sim").rglob("*.py") if str(path.relative_to(ROOT)) not in ELSEWHERE]
    assert len(files) > 200
    others = {str(path.relative_to(ROOT)): at_the_head(path) - known for path in files}
    assert {name: missing for name, missing in others.items() if missing} == {}


@pytest.mark.parametrize("line", ["import scipy", "from scipy.stats import beta"])
def test_another_import_would_be_found(tmp_path, line):
    (tmp_path / "one.py").write_text(f"import math\n{line}\n", encoding="utf-8")
    assert at_the_head(tmp_path / "one.py") - defaults() - set(sys.stdlib_module_names) == {"scipy"}
