"""The hose test carried out: board, person, record, and the answers saved when it is interrupted."""

from hil import record as records
from hil.commission import expected_values, simulated
from hil.commission.dialogue import HoseTest
from hil.commission.simulated import document
from hil.commission.terminal import Screen, Terminal
from hil.commission.watch import Board
from hil.kits.virtual import VirtualKit
from host_sim.board.client import connect
from host_sim.errors import InputError
from host_sim.report.prompt import StoppedError
from host_sim.site.load import load_site
from host_sim.sizing.say import Say

DONE, NOT_PASSED = 0, 1
CUT_SHORT = 130  # as a shell reports a program that Ctrl-C has ended


def run(port, site, record, units="us", framing="ascii", unit=1, person=None, place="", customer=""):
    """Carry the hose test out and return the exit code: 0 passed, 1 something failed or it was stopped.

    Raises InputError when record, site, saved answers or board cannot be used;
    the answers so far are saved then as well.
    """
    records.check_file(record)
    found = carry_out(port, site, record, units, framing, unit, person)
    if found is None:
        return NOT_PASSED
    test, made = found
    made["place"], made["customer"] = place, customer
    paths = records.write_hose_test(made, record)
    test.forget()
    test.person.say(f"\n{made['headline']}.")
    test.person.say(f"Record: {paths[0]}.  To print and sign, two pages: {paths[1]}")
    return NOT_PASSED if made["verdict"] == "fail" else DONE


def run_virtual(site, record, units="us", place="", customer=""):
    """Show the hose test on a simulated pit with a simulated person, every word said; return the exit code as `run`.

    Ctrl-C ends it without a record: CUT_SHORT.  The record says across its page
    that no hardware was tested, and carries no signature.  Raises InputError when
    record or site cannot be used, or the virtual board cannot be started.
    """
    records.check_file(record)
    the_site = simulated.site() if site is None else load_site(site)
    screen = Screen()
    try:
        with VirtualKit(settings=the_site.settings) as kit:
            kit.reset()
            made = simulated.run(kit, screen, units=units, the_site=the_site)
    except KeyboardInterrupt:
        screen.say("\nStopped.  It was a simulation: nothing is saved, and no record was written.")
        return CUT_SHORT
    made["place"], made["customer"] = place, customer
    paths = records.write_hose_test(made, record)
    screen.say(f"\n{made['headline']}.")
    screen.say(simulated.NOTE)
    screen.say(f"Record: {paths[0]}.  Page: {paths[1]}")
    return NOT_PASSED if made["verdict"] == "fail" else DONE


def carry_out(port, site, record, units="us", framing="ascii", unit=1, person=None):
    """Go through the dialogue; return (the HoseTest, its document), None when the person stopped it.

    Raises InputError as `run` does.
    """
    board = Board(lambda: connect(port, framing, unit))
    try:
        board.open()
        person = person or Terminal()
        test = HoseTest(board, person, expected_values.read(site, board.settings), Say(units), record)
        try:
            test.recall()
            test.run()
        except (StoppedError, KeyboardInterrupt, EOFError):
            _kept(test, "Stopped")
            return None
        except InputError:
            _kept(test, "Interrupted")
            raise
        return test, document(test, {"port": port, "framing": framing})
    finally:
        board.close()


def _kept(test, word):
    if not test.done:
        test.person.say(f"\n{word} before anything was answered.")
        return
    steps = "1 step is" if len(test.done) == 1 else f"{len(test.done)} steps are"
    test.person.say(f"\n{word}.  {steps} saved in {test.path}; the same command resumes there.")
    test.person.say("Before you leave the pit: hose shut, no float tied up, both pumps powered, selectors at AUTO, "
                    "cover on.")  # fmt: skip
