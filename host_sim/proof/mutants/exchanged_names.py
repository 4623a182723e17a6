"""Mutants that take one name for its neighbour: a rest for the lag's rest, `barred` for `out`, LEAD for LAG.

Only a module whose neighbours are written down here has such mutants.
"""

import ast
import copy

ATTRIBUTES = {
    "gate": (
        {"REST", "REST_LAG", "REST_FLOOD"},
        {"BOOT", "SPACING"},
        {"MIN_OFF_MS", "LAG_MIN_OFF_MS", "FLOOD_MIN_OFF_MS", "BOOT_HOLD_MS"},
        {"GENERATOR_SPACING_MS", "START_SPACING_MS"},
        {"barred", "on_battery", "out"},
        {"contacts", "wet"},
    ),
}
NAMES = {"gate": ({"LEAD", "LAG", "HIGH"},)}


def exchanged(module, node):
    """Yield (what, replacement) for an attribute or a name of `module` that has neighbours."""
    if isinstance(node, ast.Attribute):
        for other in _neighbours(ATTRIBUTES.get(module, ()), node.attr):
            yield f"{node.attr} -> {other}", ast.Attribute(copy.deepcopy(node.value), other, node.ctx)
    elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
        for other in _neighbours(NAMES.get(module, ()), node.id):
            yield f"{node.id} -> {other}", ast.Name(other, node.ctx)


def _neighbours(pools, name):
    return [other for pool in pools if name in pool for other in sorted(pool - {name})]
