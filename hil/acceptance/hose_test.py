"""The hose test as part of an acceptance run: simulated on the virtual board, with a person on a real one."""

import sys
from pathlib import Path

from hil.commission import simulated
from hil.commission.carry_out import carry_out
from hil.kits.virtual import VirtualKit
from host_sim.errors import InputError
from host_sim.site.load import load_site

ELSEWHERE = "takes 25 min of the board's time: run it on the virtual board in lockstep, or on a real one with a person"


def hose_test(virtual=False, port=None, wanted=True, site=None, folder=Path("."), say=None, why_not=""):
    """Return (document of the hose test, "") or (None, the reason why there is none).

    `virtual` has a simulated person carry it out on the pit of `site` (an
    invented one where None), `port` a person at this terminal; `why_not` is the
    reason where it is not wanted.  A board that goes away and saved answers that
    cannot be used are reasons as well.
    """
    if not wanted:
        return None, why_not or "not requested"
    if virtual:
        if say:
            say("hose test: a simulated person on a simulated pit")
        pit = load_site(site) if site else simulated.site()
        with VirtualKit(settings=pit.settings) as kit:
            kit.reset()
            made = simulated.run(kit, the_site=pit)
        if say:
            say(f"  {made['verdict']}: {made['headline']}")
        return made, ""
    if port is None:
        return None, ELSEWHERE
    if not sys.stdin.isatty():
        return None, "nobody was at the terminal: run sumpbench commission"
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
        found = carry_out(port, site, Path(folder) / "hose-test.json")
    except InputError as error:
        # What the procedures have shown is not lost with it.
        return None, f"interrupted: {'; '.join(error.problems)}"
    if found is None:
        return None, "stopped by the person; the same command, or sumpbench commission, resumes there"
    test, made = found
    test.forget()
    return made, ""
