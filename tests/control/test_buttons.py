"""A2: press edges, held buttons and the test, by button and by link."""

import pytest
from duplexsump.control import records as r
from duplexsump.control.buttons import Buttons
from duplexsump.control.timers import Timers


class Bench:
    """The buttons with a clock; `go` is one step and tells what it read."""

    def __init__(self, **at):
        self.timers = Timers()
        self.b = Buttons(self.timers)
        self.inputs = [0] * r.N_INPUTS
        self.now = 0
        self.put(at)
        self.b.begin(self.inputs)

    def put(self, changes):
        for name, value in changes.items():
            self.inputs[r.INPUT_NAMES.index(name)] = value

    def go(self, ms=100, nothing=1, **changes):
        self.now += ms
        self.put(changes)
        self.timers.expire(self.now)
        self.b.step(self.inputs, nothing)
        return bool(self.b.silence), bool(self.b.reset), bool(self.b.inspected)


@pytest.mark.parametrize("changes", [{"silence": 1}, {"reset": 1}, {"command": 15}])
def test_a_button_held_or_a_command_standing_at_power_up_is_no_press(changes):
    bench = Bench(**changes)
    assert bench.go() == (False, False, False)
    assert not bench.b.test()


@pytest.mark.parametrize(("changes", "told"), [
    ({"silence": 1}, (True, False, False)), ({"reset": 1}, (False, True, False)),
    ({"command": r.CMD_SILENCE}, (True, False, False)), ({"command": r.CMD_RESET}, (False, True, False)),
    ({"command": r.CMD_INSPECTED}, (False, False, True)), ({"command": r.CMD_TEST}, (False, False, False)),
])  # fmt: skip
def test_a_press_acts_once_on_its_edge_by_button_or_by_link(changes, told):
    bench = Bench()
    assert bench.go(**changes) == told
    assert bench.go() == (False, False, False)
    assert bench.go(**dict.fromkeys(changes, 0)) == (False, False, False), "letting go is no press"
    assert bench.go(**changes) == told


def test_a_command_acts_though_another_one_stands():
    bench = Bench()
    bench.go(command=r.CMD_SILENCE)
    assert bench.go(command=r.CMD_SILENCE | r.CMD_RESET) == (False, True, False)


@pytest.mark.parametrize("name", ["silence", "reset"])
def test_a_button_held_for_thirty_seconds_is_stuck_until_let_go(name):
    bench = Bench()
    bench.go(nothing=0, **{name: 1})
    bench.go(29_900, nothing=0)
    assert not bench.b.stuck
    bench.go(100, nothing=0)
    assert bench.b.stuck
    bench.go(100, nothing=0, **{name: 0})
    assert not bench.b.stuck


def test_silence_held_for_three_seconds_with_no_alarm_tests_for_as_long_as_it_is_held():
    bench = Bench()
    bench.go(silence=1)
    bench.go(2900)
    assert not bench.b.test()
    bench.go(100)
    assert bench.b.test()
    bench.go(5000)
    assert bench.b.test()
    bench.go(silence=0)
    assert not bench.b.test()


def test_no_test_by_a_held_button_while_there_is_an_alarm_or_once_it_is_stuck():
    bench = Bench()
    bench.go(nothing=0, silence=1)
    bench.go(3000, nothing=0)
    assert not bench.b.test()
    bench = Bench()
    bench.go(silence=1)
    bench.go(30_000)
    bench.go(100)
    assert bench.b.stuck
    assert not bench.b.test(), "a stuck button must not sound the horn for ever"
    held = Bench()
    held.go(reset=1)
    held.go(3000)
    assert not held.b.test(), "reset tests nothing"


def test_a_test_over_the_link_lasts_five_seconds():
    bench = Bench()
    bench.go(command=r.CMD_TEST)
    assert bench.b.linked == 1
    bench.go(4900)
    assert bench.b.test()
    bench.go(100)
    assert not bench.b.test()


def test_a_test_over_the_link_does_not_begin_with_an_alarm_and_ends_with_one():
    bench = Bench()
    bench.go(nothing=0, command=r.CMD_TEST)
    assert not bench.b.test()
    bench.go(command=0)
    bench.go(command=r.CMD_TEST)
    assert bench.b.test()
    bench.go(100, nothing=0)
    assert not bench.b.test()
    assert bench.timers.next_ms(86_400_000) == 86_400_000, "no timer is left behind"


COMMANDS = {"silence": r.CMD_SILENCE, "reset": r.CMD_RESET, "inspected": r.CMD_INSPECTED, "replaced": r.CMD_REPLACED}


@pytest.mark.parametrize("name", COMMANDS)
def test_a2_a4_a5_a_command_over_the_link_is_taken_once_and_for_itself_alone(name):
    buttons, inputs = Buttons(Timers()), [0] * r.N_INPUTS
    inputs[r.IN_COMMAND] = COMMANDS[name]
    for taken in (True, False):
        buttons.step(inputs, 1)
        assert [o for o in COMMANDS if getattr(buttons, o)] == [name] * taken
        assert buttons.shelve == 0, "none that asks for it"
