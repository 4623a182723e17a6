"""A minute of the demo, recorded: what a page that carries its own Python shows until that is loaded."""

import json

from host_sim.living import share
from host_sim.living.engine import Engine
from host_sim.living.view import Story
from host_sim.run.closed_loop import run
from host_sim.site.load import load_site, packaged

SECONDS = 60
LOOKS = 2  # a second
SHOWN_S = 3600.0  # of the curves and the story before it


def minute():
    """Return as JSON the first message, and the looks of a minute of the demo's own night, twice a second.

    It is the minute in whose middle the water stands highest.
    """
    engine = Engine(share.of_packaged("demo", True))
    highest_s = run(load_site(packaged("demo"))).totals.highest_at_s
    engine.session.advance(round((highest_s - SECONDS / 2) * 1000.0))
    first, engine.story = engine.seen(), Story()
    first["story"] = engine.story.more(engine.session)
    since_s = engine.session.now_ms / 1000.0 - SHOWN_S
    for name, rows in first["story"].items():
        first["story"][name] = [row for row in rows if row[0] >= since_s]
    looks = [first] + [engine.look(1000.0 / LOOKS) for _ in range(SECONDS * LOOKS)]
    return json.dumps({"hello": engine.hello(), "every_ms": 1000 // LOOKS, "looks": looks}, separators=(",", ":"))
