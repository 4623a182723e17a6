"""Selects the kit from the options of a command line, the pytest plugin or the environment."""

from dataclasses import dataclass
from pathlib import Path

from host_sim.board import signals
from host_sim.errors import InputError


@dataclass
class Choice:
    """What was given; exactly one of `virtual`, `real_time`, `emulated` and `port` names the board."""

    virtual: bool = False
    real_time: bool = False
    emulated: bool = False
    uf2: str | None = None
    port: str | None = None
    rig_port: str | None = None
    forces: bool = False
    cords_unplugged: bool = False
    board: str = ""  # of a real one "pico" where empty; a virtual one then offers every signal that there is
    power_by: str = "relay"
    seed: int = 0
    expander: bool = False

    def named(self):
        """Return the kinds of board that were asked for."""
        kinds = {
            "the virtual board": self.virtual or self.real_time,
            "the emulated board": self.emulated,
            "a real board (port)": bool(self.port),
        }
        return [name for name, asked in kinds.items() if asked]


def check(choice):
    """Raise InputError where what was given does not name exactly one board, or does not go together."""
    problems = []
    named = choice.named()
    if not named:
        problems.append("which board? give --virtual, --emulated with --uf2, or --port of a real one")
    if len(named) > 1:
        problems.append(f"{' and '.join(named)}: one board at a time")
    if choice.emulated and not choice.uf2:
        problems.append("the emulated board needs a MicroPython UF2 for RPI_PICO: give its path (--uf2)")
    if choice.uf2 and not Path(choice.uf2).is_file():
        problems.append(f'"{choice.uf2}": there is no such UF2 file')
    if (choice.rig_port or choice.forces) and not choice.port:
        problems.append("a rig or forced inputs need the port of a real board (--port)")
    if choice.rig_port and choice.forces:
        problems.append("either a rig or forced inputs, not both")
    if choice.port and not choice.rig_port and not choice.forces:
        problems.append("a real board needs its rig's port (--rig-port), or forced inputs (--forces)")
    if choice.port and choice.port == choice.rig_port:
        problems.append(f'"{choice.port}" cannot be the board and the rig at the same time')
    if choice.board or choice.expander:
        signals.board(choice.board or "pico")
    if choice.expander and not (choice.virtual or choice.real_time or choice.emulated):
        problems.append("--expander goes with --virtual or --emulated: a rig has no wires for an I2C bus")
    if problems:
        raise InputError(problems, "which board")


def open_kit(choice, settings=None):
    """Return the kit of a choice, ready for `reset()`; `settings` is the record that a virtual or emulated board gets.

    Raises InputError where the choice is none or the board does not answer.
    """
    check(choice)
    if choice.real_time:
        from hil.kits.virtual_real_time import RealTimeKit

        return _as_on(choice, RealTimeKit(settings, seed=choice.seed))
    if choice.virtual:
        from hil.kits.virtual import VirtualKit

        return _as_on(choice, VirtualKit(settings, seed=choice.seed))
    if choice.emulated:
        from hil.kits.emulated.kit import EmulatedKit

        return EmulatedKit(choice.uf2, settings, seed=choice.seed, expander=choice.expander)
    if choice.rig_port:
        from hil.kits.real_rig import RealKit

        return RealKit(choice.port, choice.rig_port, choice.board or "pico", choice.power_by)
    from hil.kits.real_forced import ForcesKit

    return ForcesKit(choice.port, choice.cords_unplugged)


def _as_on(choice, kit):
    # A virtual board offers what the chosen board has; where none is chosen, everything.
    if (choice.board or choice.expander) and choice.board != "posix":
        name = choice.board or "pico"
        kit.as_on(signals.wires(name, choice.expander), signals.title(name, choice.expander))
    return kit
