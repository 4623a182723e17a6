"""The hose test carried out: board, person, record, and what is kept when it is broken off."""

from host_sim.errors import InputError
from host_sim.report.prompt import StoppedError

DONE, NOT_PASSED = 0, 1


def run(port, site, record, units="us", framing="ascii", unit=1, person=None):
    """Carry the hose test out and return the exit code: 0 passed, 1 something failed or it was stopped.

    Raises InputError when record, site, kept answers or board cannot be used;
    what has been answered is kept then as well.
    """
    from hil import record as records

    records.check_file(record)
    found = carry_out(port, site, record, units, framing, unit, person)
    if found is None:
        return NOT_PASSED
    test, made = found
    paths = records.write_hose_test(made, record)
    test.forget()
    test.person.say(f"\n{made['headline']}.")
    test.person.say(f"Record: {paths[0]}.  To print and sign, two pages: {paths[1]}")
    return NOT_PASSED if made["verdict"] == "fail" else DONE


def carry_out(port, site, record, units="us", framing="ascii", unit=1, person=None):
    """Go through the dialogue; return (the HoseTest, its document), None when the person has stopped.

    Raises InputError as `run` does.
    """
    # Imported when the command runs, so that the help of every other command comes up at once.
    from hil.commission import expected_values
    from hil.commission.dialogue import HoseTest
    from hil.commission.simulated import document
    from hil.commission.terminal import Terminal
    from hil.commission.watch import Board
    from host_sim.board.client import connect
    from host_sim.sizing.say import Say

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
            _kept(test, "Broken off")
            raise
        return test, document(test, {"port": port, "framing": framing})
    finally:
        board.close()


def _kept(test, word):
    if not test.done:
        test.person.say(f"\n{word} before anything was answered.")
        return
    steps = "1 step is" if len(test.done) == 1 else f"{len(test.done)} steps are"
    test.person.say(f"\n{word}.  {steps} kept in {test.path}; the same command goes on from there.")
    test.person.say("Look round the pit before you go: selectors, hose, cords, cover.")
