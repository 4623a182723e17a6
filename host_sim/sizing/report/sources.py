"""The sources of a page's figures: a number beside a figure for what is published, a letter for what is not.

A published table that we quote from memory bears both, as "3M": nobody should build on it without looking it up.
"""

from host_sim.sizing.limits import MEMORY, OWN, PRACTICE

LETTERS = {"P": PRACTICE, "O": OWN, "M": MEMORY, "D": "data plate", "C": "calculated"}
MEANINGS = {
    "P": "common practice, no source",
    "O": "our own choice, no source",
    "M": "from memory: look it up before you rely on it",
    "D": "data plate or manual",
    "C": "calculated from the figures given",
}


class Sources:
    """Numbers the published sources in the order in which they are first named."""

    def __init__(self):
        self.named, self.letters = [], set()

    def tag(self, source):
        """Return the tag of a source text, as "[2]" or "[P]"; of several, parted by "; ", as "[2, P]"; of none, ""."""
        found = [self._one(part) for part in source.split("; ") if part]
        return f"[{', '.join(dict.fromkeys(found))}]" if found else ""

    def _one(self, source):
        for letter, words in LETTERS.items():
            if source == words or source.startswith(f"{words}:") or source.endswith(f": {words}"):
                self.letters.add(letter)
                return letter
        if source not in self.named:
            self.named.append(source)
        if source.endswith(MEMORY):
            self.letters.add("M")
        return self._number(source)

    def _number(self, source):
        return f"{self.named.index(source) + 1}{'M' if source.endswith(MEMORY) else ''}"

    def listed(self):
        """Return every source with its tag, as texts: the letters that were used first."""
        found = [f"[{letter}] {words}" for letter, words in MEANINGS.items() if letter in self.letters]
        return found + [f"[{self._number(source)}] {source}" for source in self.named]
