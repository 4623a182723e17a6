"""Asking the person at the terminals: a line, yes or no, a wait that a line ends; why something is left out."""

SKIPPED = "not tested"
WAIT_S, LOOK_S = 120.0, 0.2
HELP = ("A contact is seen by itself; Enter if nothing happens; skip and a reason; stop saves everything, and the same "
        "command resumes.")  # fmt: skip


class Stopped(Exception):  # noqa: N818 - a person's word, no error
    """The person leaves; everything so far is kept."""


class Skipped(Exception):  # noqa: N818 - a person's word, no error
    """The person leaves one signal out; its text is the reason."""


class Asking:
    """`person` as `hil.commission.terminal.Terminal`, `clock` as `hil.commission.watch.WallClock`.

    `keep(name, verdict, words)` is the heir's.
    """

    def __init__(self, person, clock):
        self.person, self.clock = person, clock

    def keep(self, name, verdict, words):
        """Keep a verdict."""
        raise NotImplementedError

    def _line(self, key, prompt):
        line = self.person.read(key, prompt).strip()
        if line.lower() == "stop":
            raise Stopped
        return line

    def _yes(self, key, question):
        skips = key.startswith(("see ", "again ", "relay "))
        while True:
            line = self._line(key, f"{question} (yes or no) > ")
            if line.lower() in ("yes", "y", "no", "n"):
                return line.lower().startswith("y")
            if skips and line.lower().startswith("skip"):
                raise Skipped(line[4:].strip())
            self.person.say(f"   Please answer yes or no{'; or skip, with a reason' if skips else ''}.")

    def _until(self, holds, limit_s=WAIT_S):
        # Whether it comes true; a person may end the wait with a line: "" gives up, skip and stop as ever.
        until = self.clock.seconds() + limit_s
        while not holds():
            typed = self.person.poll()
            word = None if typed is None else typed.strip()
            if word is not None and word.lower() == "stop":
                raise Stopped
            if word and word.split()[0].lower() != "skip":
                self.person.say(f'   "{word}" is not understood, still waiting. {HELP}')
                word = None
            if word is not None or self.clock.seconds() >= until:
                return word or ""
            self.clock.pause(LOOK_S)
        return None

    def _skip(self, one, reason):
        # Whoever reads the record asks why.
        while not reason.strip():
            reason = self._line(f"why {one.name}", f"   why is {one.name} not tested? > ")
        self.keep(one.name, SKIPPED, reason.strip())
