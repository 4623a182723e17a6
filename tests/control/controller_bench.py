"""A bench for the controller: a real one whose parts are exchanged for stand-ins that note what they are asked."""

from types import SimpleNamespace as Has

from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control.controller import Controller

from tests.rig import make_settings

NOW = 5_000_000


class Asked:
    """A part that notes every call as (its name, the method, the arguments...) and answers as told."""

    def __init__(self, name, notes, answers=None, **values):
        self.__dict__.update(values)
        self._name, self._notes, self._answers = name, notes, answers or {}

    def __getattr__(self, method):
        if method.startswith("_"):
            raise AttributeError(method)

        def asked(*arguments):
            self._notes.append((self._name, method, *arguments))
            answer = self._answers.get(method)
            return answer(*arguments) if callable(answer) else answer

        return asked


def made(**overrides):
    """Return a controller that lives, at NOW, with settings by name."""
    c = Controller(make_settings(**overrides))
    c.power_up(NOW)
    return c


def stand_in(c, **parts):
    """Exchange parts of a controller for stand-ins; `parts`: {attribute: dict of values, `answers` among them}.

    Returns the list that all calls are noted in, in order.
    """
    notes = []
    for name, values in parts.items():
        setattr(c, name, Asked(name, notes, **values))
    return notes


def follow(c, notes, *methods):
    """Note calls of the controller's own methods instead of making them."""
    for name in methods:
        setattr(c, name, lambda *arguments, name=name: notes.append((name, *arguments)))


def pump(notes, name, on=False, **values):
    """Return a stand-in for a pump with nothing wrong."""
    rest = {"state": pm.IDLE, "held": 0, "failures": 0, "dry": False, "open": 0, "welded": False, "cause": 0}
    return Asked(name, notes, {"on": on}, **{**rest, **values})


def record(**values):
    """Return an input record, nothing but what is given by name."""
    inputs = [0] * r.N_INPUTS
    for name, value in values.items():
        inputs[r.INPUT_NAMES.index(name)] = value
    return inputs


__all__ = ["NOW", "Asked", "Has", "follow", "made", "pump", "record", "stand_in"]
