"""What the page carries of Python: the modules that its engine imports, wherever in a file they are imported."""

import ast
import zipfile
from importlib import util
from pathlib import Path

FIRST = "host_sim.living.in_browser"
OURS = ("host_sim", "duplexsump", "tomli_w")  # what else is imported must come with Python
DATA = (".toml", ".json", ".csv")


def modules(first=FIRST):
    """Return {name: path} of the module `first` and of all of ours that it needs, in a function or outside."""
    found, waiting = {}, [first]
    while waiting:
        name = waiting.pop()
        if name in found or name.split(".")[0] not in OURS:
            continue
        spec = util.find_spec(name)
        if spec is None or not spec.origin or not spec.origin.endswith(".py"):
            continue  # a name out of a module, or a folder without a file of its own
        found[name] = Path(spec.origin)
        waiting += _imports(name, found[name])
        waiting += [".".join(name.split(".")[:n]) for n in range(1, name.count(".") + 1)]
    return found


def _imports(name, path):
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, *([base] if base else [])])
            found += [base, *(f"{base}.{alias.name}" for alias in node.names if _is_package(base))]
    return found


def _is_package(name):
    if name.split(".")[0] not in OURS:
        return False
    spec = util.find_spec(name)
    return spec is not None and spec.submodule_search_locations is not None


def write(path):
    """Write the bundle as a zip file: those modules, the data beside them, and the whole firmware.

    The firmware is whole because it is known by the checksum over all its sources.
    """
    import duplexsump

    files = {}
    for name, file in modules().items():
        parts = name.split(".")
        top = file.parents[len(parts) - (0 if file.name == "__init__.py" else 1)]
        files[str(file.relative_to(top))] = file
        for beside in file.parent.iterdir():
            if beside.suffix in DATA and name.startswith("host_sim."):
                files[str(beside.relative_to(top))] = beside
    for folder, pattern in ((Path(duplexsump.__file__).parent, "*.py"), (_scenarios(), "*.toml")):
        top = folder.parents[0 if folder.name == "duplexsump" else 1]
        files |= {str(file.relative_to(top)): file for file in folder.rglob(pattern)}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as bundle:
        for inside, file in sorted(files.items()):
            bundle.write(file, inside)


def _scenarios():
    return Path(util.find_spec("host_sim").origin).parent / "scenarios"
