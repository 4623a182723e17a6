"""The one pump curve of our own invention, in round numbers: the packaged demo's, which the interview takes for a
pump of unknown plate, and which the hints show."""

import tomllib

from host_sim.site.load import packaged

POINTS = tomllib.loads(packaged("demo").read_text(encoding="utf-8"))["pump"]["curve"]
WORDS = ", ".join(f"{flow} {head}" for flow, head in POINTS)
ROWS = "[" + ", ".join(f'["{flow}", "{head}"]' for flow, head in POINTS) + "]"
