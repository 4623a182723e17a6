"""The error for input that cannot be used."""


class InputError(ValueError):
    """Every error found in an input, reported at once.

    `problems` is a list of sentences, each naming what was given, what is
    allowed and what to do.  `source` names the file or option they come from.
    The command line prints them and leaves with exit code 2.
    """

    def __init__(self, problems, source=""):
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        self.source = source
        head = f"{source}: " if source else ""
        count = len(self.problems)
        noun = "1 error" if count == 1 else f"{count} errors"
        super().__init__(f"{head}{noun}:\n" + "\n".join(f"  - {line}" for line in self.problems))
