"""The pytest plugin: tests on a board under test, whichever was named on the command line or in the environment.

    pytest hil --hil-virtual
    pytest hil --hil-emulated --hil-uf2 RPI_PICO.uf2
    pytest hil --hil-port /dev/ttyACM0 --hil-rig-port /dev/ttyACM1

Fixtures: `bench` (the vocabulary of `hil.bench.bench`) and `dut` (its kit), both after
a fresh start of the board for each test.  Markers: `hil` (speaks to a board) and
`needs(...)` (wires and abilities).  No kit named, or one that lacks what is
needed: the test is skipped by name, or fails under --hil-must.  A kit that was
named but does not answer is an error.  The outputs drop after every test.
"""

import os

import pytest

from hil.bench.bench import Bench
from hil.bench.verdict import Failed
from hil.kits import select
from hil.kits.base import Missing
from host_sim.errors import InputError

PREFIX = "SUMPBENCH_HIL_"
KIT = pytest.StashKey()
CHOICE = pytest.StashKey()
# option, environment, help; those without a value are switches.
SWITCHES = (
    ("virtual", "the virtual board, in lockstep"),
    ("real-time", "the virtual board, in real time"),
    ("emulated", "the emulated RP2040, with --hil-uf2"),
    ("forces", "no rig: inputs forced over the link"),
    ("cords-unplugged", "with --hil-forces: both pumps are unplugged, checked by the operator"),
    ("coils-only", "only coils or dummy loads hang on the pump relays: the wire check may switch them"),
    ("allow-settings", "tests may change settings of a real board and restore them"),
    ("must", "a missing kit, wire or ability is a failure, not a skip"),
)
VALUES = (
    ("uf2", "MicroPython UF2 file for RPI_PICO"),
    ("port", "port of a real controller, or a pyserial URL"),
    ("rig-port", "port of the rig wired to it"),
    ("board", "wiring table of the real controller; pico if omitted"),
    ("power", "how the rig cuts the controller's power: relay, run or none; relay if omitted"),
    ("seed", "random seed; 0 if omitted"),
)
NO_KIT = "no kit: --hil-virtual, --hil-emulated --hil-uf2 FILE, or --hil-port PORT --hil-rig-port PORT"


def _variable(name):
    return PREFIX + name.upper().replace("-", "_")


def pytest_addoption(parser):
    """Add the options, all prefixed, each with an environment variable behind it."""
    group = parser.getgroup("hil", "board under test")
    for name, text in SWITCHES:
        group.addoption(f"--hil-{name}", action="store_true", default=None, help=f"{text} ({_variable(name)}=1)")
    for name, text in VALUES:
        group.addoption(f"--hil-{name}", default=None, metavar="TEXT", help=f"{text} ({_variable(name)})")


def _given(config, name, switch):
    value = config.getoption(f"--hil-{name}")
    if value is None:
        value = os.environ.get(_variable(name)) or None
        if switch and value is not None:
            value = value.lower() not in ("0", "no", "false")
    return bool(value) if switch else value


def choice_of(config):
    """Return the Choice that the options and the environment make; None where no board was named.

    Raises pytest.UsageError where they do not go together.
    """
    given = {name: _given(config, name, True) for name, _ in SWITCHES}
    given |= {name: _given(config, name, False) for name, _ in VALUES}
    seed = given["seed"] or "0"
    if not str(seed).isdigit():
        raise pytest.UsageError(f'--hil-seed "{seed}": give a whole number from 0 up')
    choice = select.Choice(
        given["virtual"], given["real-time"], given["emulated"], given["uf2"], given["port"], given["rig-port"],
        given["forces"], given["cords-unplugged"], given["board"] or "", given["power"] or "relay", int(seed),
    )  # fmt: skip
    # A UF2 in the environment alone names no board.
    if not choice.named() and not any((choice.rig_port, choice.forces, config.getoption("--hil-uf2"))):
        return None
    try:
        select.check(choice)
    except InputError as error:
        raise pytest.UsageError(str(error)) from error
    return choice


def pytest_configure(config):
    """Register the markers and check what was named."""
    config.addinivalue_line("markers", "hil: speaks to a board under test")
    config.addinivalue_line("markers", "needs(*what): wires and abilities that the kit must have")
    config.stash[CHOICE] = choice_of(config)


def pytest_report_header(config):
    """Say which board is under test."""
    choice = config.stash.get(CHOICE, None)
    return "board under test: " + (" and ".join(choice.named()) if choice else "none named")


def pytest_collection_modifyitems(items):
    """Mark every test that uses a board."""
    for item in items:
        if {"bench", "dut"} & set(getattr(item, "fixturenames", ())):
            item.add_marker("hil")


def lack(config, why):
    """Skip the test with the reason, or fail it under --hil-must."""
    if _given(config, "must", True):
        pytest.fail(f"--hil-must: {why}", pytrace=False)
    pytest.skip(why)


@pytest.fixture(scope="session")
def hil_kit(request):
    """The kit that was named, for the whole session; its outputs drop at the end whatever happens."""
    choice = request.config.stash[CHOICE]
    if choice is None:
        lack(request.config, NO_KIT)
    kit = select.open_kit(choice)
    try:
        kit.prove(print, _given(request.config, "coils-only", True))
        yield kit
    finally:
        kit.close()


@pytest.fixture
def bench(request, hil_kit):
    """A `hil.bench.bench.Bench` on a board that has just been started afresh."""
    for marker in request.node.iter_markers("needs"):
        for need in marker.args:
            try:
                hil_kit.need(need)
            except Missing as missing:
                lack(request.config, "; ".join(missing.problems))
    request.node.stash[KIT] = hil_kit
    made = Bench(hil_kit, _given(request.config, "allow-settings", True))
    try:
        made.reset()
        seen = hil_kit.describe()
        for name in ("firmware", "board", "wiring", "micropython", "seed"):
            request.node.user_properties.append((f"hil_{name}", str(seen[name])))
        yield made
    finally:
        made.leave()


@pytest.fixture
def dut(bench):
    """The board under test itself: the kit of `bench`, after its fresh start."""
    return bench.kit


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item):
    """Turn a missing wire or ability into a skip, a failure of the board into one line."""
    try:
        return (yield)
    except Missing as missing:
        lack(item.config, "; ".join(missing.problems))
    except Failed as failed:
        pytest.fail(str(failed), pytrace=False)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Attach the serial log and the pin trace to a failure."""
    report = yield
    kit = item.stash.get(KIT, None)
    if report.failed and kit is not None and call.when != "teardown":
        try:
            text = kit.log()
        except (InputError, OSError) as error:
            text = f"no log: {error}"
        report.sections.append(("bench: serial log and pin trace", text))
    return report
