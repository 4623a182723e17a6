"""A person at a terminal: lines typed at any time, also while waiting for the board."""

import queue
import shutil
import sys
import textwrap
import threading

WIDTH = 110  # of a line at most


class Screen:
    """Shows texts, wrapped between words.  On a terminal a wait is one line, updated in place."""

    def __init__(self, sink=None):
        self.sink = sink or sys.stdout
        self.in_place = self.sink.isatty()
        self.standing = 0  # width of the line that will be written over, 0 where there is none

    def say(self, text):
        """Show a text, wrapped; an indented one stays indented."""
        self._clear()
        if text.startswith("\n"):
            self.sink.write("\n")
            text = text[1:]
        lead = text[: len(text) - len(text.lstrip(" "))]
        hang = lead + ("   " if text.lstrip().startswith(("-> ", "* ")) else "")
        wrapped = textwrap.fill(text.lstrip(" "), self._width(), initial_indent=lead, subsequent_indent=hang,
                                break_long_words=False, break_on_hyphens=False)  # fmt: skip
        self.sink.write(wrapped + "\n")
        self.sink.flush()

    def waiting(self, text):
        """Show a line that the next one takes the place of; where that cannot be done, one more line."""
        if not self.in_place:
            self.say(text)
            return
        lead = text[: len(text) - len(text.lstrip(" "))]
        # One column less than there are: at the last one a terminal goes on to the next line.
        line = lead + textwrap.shorten(text, self._width() - len(lead) - 1, placeholder=" ...", break_on_hyphens=False)
        self.sink.write("\r" + line.ljust(self.standing))
        self.sink.flush()
        self.standing = len(line)

    def _clear(self):
        if self.standing:
            self.sink.write("\r" + " " * self.standing + "\r")
            self.standing = 0

    def _width(self):
        return max(20, min(shutil.get_terminal_size().columns, WIDTH))


class Terminal(Screen):
    """Shows texts and gives lines.  Raises EOFError where the input has ended."""

    def __init__(self, source=None, sink=None):
        super().__init__(sink)
        self.source = source or sys.stdin
        self.lines = queue.SimpleQueue()
        self.ended = False
        # A thread of its own reads, since no system's terminal can be waited for and looked past at once.
        threading.Thread(target=self._listen, name="typed lines", daemon=True).start()

    def _listen(self):
        try:
            for line in self.source:
                self.lines.put(line.rstrip("\r\n"))
        except (OSError, ValueError):
            pass  # the terminal went away: the same as its end
        self.lines.put(None)

    def does(self, key):
        """Do nothing: the person has read the instruction."""

    def read(self, key, prompt):
        """Show a prompt and return the line that is typed."""
        self._clear()
        self.sink.write(prompt)
        self.sink.flush()
        return self._take(True)

    def poll(self):
        """Return a line that was typed meanwhile, else None."""
        return None if self.lines.empty() else self._take(False)

    def _take(self, wait):
        if self.ended:
            raise EOFError
        while True:
            try:
                # In short waits, so that Ctrl-C is heard on every system.
                line = self.lines.get(timeout=0.2 if wait else 0.0)
            except queue.Empty:
                if wait:
                    continue
                return None
            if line is None:
                self.ended = True
                raise EOFError
            return line
