"""What stands alone on a board, made small for a build: it stays source, and a board compiles it at every start.

The texts of names that a board has once compiled stay in its heap for good, and
every line takes time at the start.  So the words for readers go, constants
become numbers, the virtual board's part goes where there are pins, and names are
cut short but for those that `boot.py` and `main.py` know.
"""

import ast
import binascii

from host_sim.board.join import Stripping
from host_sim.board.local_names import rename_locals
from host_sim.board.shorten import names_in, shorten

SEALED = ("minimal",)
FOR_THE_BENCH = {"BenchPins", "BENCH_INPUTS"}


def sealed(source):
    """Return a module's text with the seal by which it is known to be whole as its last line."""
    body = source.partition("\n# sum ")[0].rstrip("\n") + "\n"
    return f"{body}# sum {binascii.crc32(body.encode()):08x}\n"


def small(name, text, around, pins, numbers):
    """Return the text of a module that stands alone, as it goes on a board.

    `around` are the texts of all that may use it; `pins`: the board has pins; `numbers(tree, kept)` puts numbers in
    the place of constants and leaves out those that are not `kept` (`fold.numbers`).
    """
    tree = Stripping().visit(ast.parse(text))
    outside = [ast.parse(one) for one in around]
    kept = set().union(*map(names_in, outside))
    if pins:
        tree.body = [node for node in tree.body if not (isinstance(node, ast.ClassDef) and node.name in FOR_THE_BENCH)]
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [one for one in body if not _words(one)] or [ast.Pass()]
    numbers(tree, kept)
    rename_locals({(name,): tree}, outside)
    if name in SEALED:
        shorten({(name,): tree}, kept)
    made = ast.unparse(ast.fix_missing_locations(tree)) + "\n"
    return sealed(made) if name in SEALED else made


def _words(node):
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
