"""The rig's firmware as it is laid on its board: what a file of it imports from our own packages lies beside it."""

import ast

import pytest

from hil.kits import rig_deploy

OWN = ("duplexsump", "sumprig")


def imported(path, lib):
    """Return the modules of our own packages that a file imports when it is imported itself, as dotted names."""
    package = path.relative_to(lib).parts[:-1]
    found, todo = [], [ast.parse(path.read_text(encoding="utf-8"))]
    while todo:
        node = todo.pop()
        if (isinstance(node, ast.If) and ast.unparse(node.test) == "_TYPES") or isinstance(node, ast.FunctionDef):
            continue  # for the type check alone; where it is called
        if isinstance(node, ast.ImportFrom):
            base = list(package[: len(package) - node.level + 1]) if node.level else []
            base += node.module.split(".") if node.module else []
            if base[0] in OWN:
                found.append(".".join(base))
        todo += ast.iter_child_nodes(node)
    return found


@pytest.mark.parametrize("board", rig_deploy.BOARDS)
def test_what_the_rigs_files_import_lies_on_its_board(board, tmp_path):
    lib = rig_deploy.assemble(tmp_path / "rig", board) / "lib"
    seen, missing = 0, set()
    for path in sorted(lib.rglob("*.py")):
        for name in imported(path, lib):
            place = lib.joinpath(*name.split("."))
            if not (place.with_suffix(".py").exists() or place.is_dir()):
                missing.add(f"{path.relative_to(lib)} imports {name}")
            seen += 1
    assert seen > 15
    assert missing == set()
    assert [one.stem for one in (lib / "sumprig" / "boards").glob("[!_]*.py")] == [board]
