"""Reads one table of a site file, key by key, and collects every problem with it."""

import difflib

from host_sim import units

REQUIRED = object()


class Table:
    """A TOML table; `path` is its name in a problem, `problems` the list that all tables share.

    Every reader returns None for a value that is missing or wrong, after
    noting why; `done()` notes the unknown keys.
    """

    def __init__(self, data, path, problems):
        self.data = data
        self.path = path
        self.problems = problems
        self.asked = []

    def __contains__(self, key):
        return key in self.data

    def name(self, key):
        """Return the name of a key in a problem."""
        return f"{self.path}.{key}" if self.path else key

    def problem(self, key, text):
        """Note a problem with a key."""
        self.problems.append(f"{self.name(key)}: {text}")

    def _get(self, key, default, wanted):
        self.asked.append(key)
        if key in self.data:
            return self.data[key], True
        if default is REQUIRED:
            self.problem(key, f"missing: {wanted} is wanted")
            return None, False
        return default, False

    def quantity(self, key, kind, default=REQUIRED, least=None, above=None, most=None):
        """Return a quantity in SI.  `default` and bounds are SI numbers or texts with a unit."""
        called, example = units.KINDS[kind][1:3]
        value, given = self._get(key, default, f'{called}, as in "{example}"')
        if not given:
            return units.read(value, kind) if isinstance(value, str) else value
        return self.convert(key, value, kind, least, above, most)

    def convert(self, key, value, kind, least=None, above=None, most=None):
        """Return one value of a key in SI, or None after noting what is wrong."""
        try:
            amount = units.read(value, kind)
        except ValueError as error:
            self.problem(key, str(error))
            return None
        bounds = (("at least", least), ("above", above), ("at most", most))
        for word, bound in bounds:
            limit = units.read(bound, kind) if isinstance(bound, str) else bound
            if limit is None:
                continue
            bad = {"at least": amount < limit, "above": amount <= limit, "at most": amount > limit}[word]
            if bad:
                shown = bound if isinstance(bound, str) else units.show(limit, kind)
                self.problem(key, f"{value}: must be {word} {shown}")
                return None
        return amount

    def integer(self, key, default=REQUIRED, least=None, most=None):
        value, given = self._get(key, default, "a whole number")
        if not given:
            return value
        low = "" if least is None else f" from {least}"
        high = "" if most is None else f" to {most}"
        wrong = isinstance(value, bool) or not isinstance(value, int)
        if wrong or (least is not None and value < least) or (most is not None and value > most):
            self.problem(key, f"{value!r}: a whole number{low}{high} is wanted")
            return None
        return value

    def boolean(self, key, default=REQUIRED):
        value, given = self._get(key, default, "true or false")
        if given and not isinstance(value, bool):
            self.problem(key, f"{value!r}: true or false is wanted")
            return None
        return value

    def text(self, key, default=REQUIRED, choices=None):
        wanted = "a text" if choices is None else "one of " + ", ".join(f'"{c}"' for c in choices)
        value, given = self._get(key, default, wanted)
        if not given:
            return value
        if not isinstance(value, str):
            self.problem(key, f"{value!r}: {wanted} is wanted")
            return None
        if choices is not None and value not in choices:
            near = difflib.get_close_matches(value, choices, 1, 0.5)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            self.problem(key, f'"{value}": {wanted} is wanted{hint}')
            return None
        return value

    def items(self, key, default=REQUIRED, wanted="a list"):
        value, given = self._get(key, default, wanted)
        if given and not isinstance(value, list):
            self.problem(key, f"{value!r}: {wanted} is wanted")
            return None
        return value

    def table(self, key, default=REQUIRED):
        """Return the table under a key as a Table, or None."""
        value, given = self._get(key, default, f"a table [{self.name(key)}]")
        if value is None:
            return None
        if given and not isinstance(value, dict):
            self.problem(key, f"{value!r}: a table [{self.name(key)}] is wanted")
            return None
        return Table(value, self.name(key), self.problems)

    def tables(self, key):
        """Return the tables [[key]] as a list of Tables, empty when there are none."""
        value, _ = self._get(key, [], "")
        if not isinstance(value, list) or any(not isinstance(item, dict) for item in value):
            self.problem(key, f"{value!r}: a list of tables [[{self.name(key)}]] is wanted")
            return []
        return [Table(item, f"{self.name(key)}[{i + 1}]", self.problems) for i, item in enumerate(value)]

    def done(self):
        """Note every unknown key, with the nearest known one."""
        for key in self.data:
            if key in self.asked:
                continue
            near = difflib.get_close_matches(key, self.asked, 1, 0.5)
            hint = f'did you mean "{near[0]}"?' if near else "known keys are " + ", ".join(sorted(set(self.asked)))
            self.problem(key, f"unknown key; {hint}")
