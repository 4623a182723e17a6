"""What is said when somebody's input cannot be used."""


class InputError(ValueError):
    """Everything found wrong with an input, reported at once.

    `problems` is a list of sentences, each naming what was given, what is
    allowed and what to do.  `source` names the file or option they come from.
    The command line prints them and leaves with exit code 2.
    """

    def __init__(self, problems, source=""):
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        self.source = source
        head = f"{source}: " if source else ""
        count = len(self.problems)
        noun = "1 thing" if count == 1 else f"{count} things"
        super().__init__(f"{head}{noun} to mend:\n" + "\n".join(f"  - {line}" for line in self.problems))
