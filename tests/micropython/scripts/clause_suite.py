"""Runs in every place: the clause tests themselves, with a small stand-in for pytest.

ARGUMENTS: the firmware's lib folder, the folder that holds tests/ (as
`translate.py` wrote it), then the names of test modules below tests/control.
Prints "passed NAME", "failed NAME why" for each test, and a last line with the
counts.  The stand-in knows `mark.parametrize`, `param`, `raises`, `approx`,
`skip`, plain fixtures and plain asserts.
"""

import sys

try:
    ARGUMENTS
except NameError:
    ARGUMENTS = sys.argv
sys.path.insert(0, ARGUMENTS[1])
ROOT = ARGUMENTS[2]


class Skipped(Exception):
    pass


class Parameters:
    """What pytest.param gives."""

    def __init__(self, *values, **_):
        self.values = values


class Raises:
    """with pytest.raises(kind, match=words)."""

    def __init__(self, kind, match=None):
        self.kind = kind
        self.match = match

    def __enter__(self):
        return self

    def __exit__(self, kind, value, _):
        assert kind is not None and issubclass(kind, self.kind), "did not raise"
        self.value = value
        return True


class Approx:
    """A number to compare with a tolerance: 1e-6 of it unless given."""

    def __init__(self, value, rel=None, abs=None):
        self.value = value
        self.band = max(abs or 0.0, (1e-6 if rel is None and abs is None else rel or 0.0) * max(value, -value))

    def __eq__(self, other):
        return -self.band <= other - self.value <= self.band


class Fixture:
    """What pytest.fixture makes of a function."""

    def __init__(self, work):
        self.work = work


class Mark:
    """pytest.mark: only parametrize changes anything."""

    def parametrize(self, names, cases, ids=None, indirect=False):
        if isinstance(names, str):
            names = [name.strip() for name in names.split(",")]

        def decorate(test):
            rows = []
            for case in cases:
                values = case.values if isinstance(case, Parameters) else case
                rows.append({names[0]: values} if len(names) == 1 and not isinstance(case, Parameters)
                            else dict(zip(names, values)))
            return Case(test, rows)

        return decorate


class Case:
    """A test with its rows of arguments; several parametrize multiply."""

    def __init__(self, test, rows):
        if isinstance(test, Case):
            rows = [merge(one, two) for one in rows for two in test.rows]
            test = test.test
        self.test = test
        self.rows = rows


def merge(one, two):
    """Return two dictionaries as one."""
    both = {}
    both.update(one)
    both.update(two)
    return both


class Pytest:
    """What the tests call pytest."""

    mark = Mark()
    raises = Raises
    approx = Approx
    param = Parameters
    fixture = Fixture

    @staticmethod
    def skip(words=""):
        raise Skipped(words)

    @staticmethod
    def fail(words=""):
        raise AssertionError(words)


class Loader:
    """Loads modules of tests/ from source."""

    def __init__(self):
        self.known = {}

    def source(self, path):
        with open(ROOT + "/" + path) as file:
            return file.read()

    def load(self, name):
        """Execute tests.NAME and register it for import; returns its names."""
        if name in self.known:
            return self.known[name]
        text = self.source(name.replace(".", "/") + ".py")
        for line in text.split("\n"):
            words = line.split()
            if len(words) > 3 and words[0] == "from" and words[1].startswith("tests."):
                self.load(words[1])
        names = {"__name__": name}
        exec(compile(text, name, "exec"), names)
        self.known[name] = names
        register(name, names)
        return names


def register(name, names):
    """Let `from NAME import ...` find what was executed."""
    made = type(sys)(name) if sys.implementation.name == "cpython" else Names()
    for key, value in names.items():
        if not key.startswith("__"):
            setattr(made, key, value)
    sys.modules[name] = made
    parts = name.split(".")
    for i in range(1, len(parts)):
        parent = ".".join(parts[:i])
        if parent not in sys.modules:
            sys.modules[parent] = type(sys)(parent) if sys.implementation.name == "cpython" else Names()
        if i == len(parts) - 1:
            setattr(sys.modules[parent], parts[-1], made)
        elif ".".join(parts[: i + 1]) in sys.modules:
            setattr(sys.modules[parent], parts[i], sys.modules[".".join(parts[: i + 1])])


class Names:
    """Anything with attributes serves MicroPython as a module."""


def tell(word, name, error=None):
    print(word, name, "" if error is None else "%s: %s" % (type(error).__name__, str(error)[:160]))


def run_one(name, test, arguments, counts):
    try:
        test(**arguments)
        counts["passed"] += 1
        tell("passed", name)
    except Skipped:
        counts["skipped"] += 1
        tell("skipped", name)
    except Exception as error:
        counts["failed"] += 1
        tell("failed", name, error)
        if sys.implementation.name != "cpython":
            sys.print_exception(error)


def main():
    sys.modules["pytest"] = Pytest
    loader = Loader()
    counts = {"passed": 0, "skipped": 0, "failed": 0}
    for module in ARGUMENTS[3:]:
        names = loader.load("tests.control." + module)
        for name in sorted(names):
            if not name.startswith("test_"):
                continue
            test = names[name]
            rows = test.rows if isinstance(test, Case) else [{}]
            for i, row in enumerate(rows):
                given = {}
                for argument in names["ARGUMENTS_OF"][name]:
                    given[argument] = row[argument] if argument in row else names[argument].work()
                run_one("%s.%s[%d]" % (module, name, i), getattr(test, "test", test), given, counts)
    print("counts", counts["passed"], counts["skipped"], counts["failed"])


main()
