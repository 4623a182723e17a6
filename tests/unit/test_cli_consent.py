"""What stops pumps says so before it acts: nothing is touched without a yes, and a script says --yes."""

import io

import pytest
import typer
from typer.testing import CliRunner

from hil.cli import rig
from host_sim.board import deploy, hardware_file, line_file, maintain
from host_sim.cli import consent
from host_sim.cli.app import app
from host_sim.errors import InputError


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_yes_goes_on_no_changes_nothing_and_nobody_is_told(monkeypatch, capsys):
    consent.ask("the pumps stop", True)
    assert "CAUTION: the pumps stop" in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    with pytest.raises(InputError, match="give --yes in a script"):
        consent.ask("the pumps stop", False)
    for answer, good in (("yes", True), ("Y", True), ("no", False), ("", False), ("perhaps", False)):
        monkeypatch.setattr("sys.stdin", Terminal(f"{answer}\n"))
        monkeypatch.setattr("builtins.input", lambda words, answer=answer: answer)
        if good:
            consent.ask("the pumps stop", False)
        else:
            with pytest.raises(typer.Exit) as left:
                consent.ask("the pumps stop", False)
            assert left.value.exit_code == 2 and "nothing was changed" in capsys.readouterr().out


def test_a_caution_is_broken_between_words_at_a_terminal(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    consent.ask(consent.MAINTAIN, True)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 4 and max(map(len, lines)) <= 60
    assert " ".join(lines) == f"CAUTION: {consent.MAINTAIN}"


@pytest.mark.parametrize("words", [
    ("deploy", "--board", "pico"), ("hardware", "--active-low", "all"), ("line", "--baud", "9600"), ("maintain",),
    ("rig", "deploy"),
])  # fmt: skip
def test_a_command_that_stops_pumps_says_so_and_touches_nothing_without_a_yes(monkeypatch, words):
    from hil.kits import rig_deploy

    if not any(group.name == "rig" for group in app.registered_groups):
        rig.add_to(app)

    def touched(*given, **names):
        raise AssertionError("the board was touched")

    for module, name in ((deploy, "deploy"), (hardware_file, "put"), (line_file, "put"), (maintain, "maintain"),
                         (rig_deploy, "deploy")):  # fmt: skip
        monkeypatch.setattr(module, name, touched)
    run = CliRunner().invoke(app, [*words, "--port", "/dev/nowhere"])
    assert isinstance(run.exception, InputError) and "--yes" in str(run.exception)
    assert "CAUTION: This" in run.output
    for word in ("pumps", "no hand in the pit" if words[0] in ("deploy", "line", "hardware") else "pumps"):
        assert word in run.output
    with pytest.raises(AssertionError, match="touched"):
        raise CliRunner().invoke(app, [*words, "--yes", "--port", "/dev/nowhere"]).exception


def test_what_it_says_names_what_to_unplug():
    for words in (consent.STOPS, consent.RESTS, consent.RIG):
        assert "unplug both pumps" in words.lower()
    assert "10 min at most" in consent.MAINTAIN and "Nothing guards the pit" in consent.MAINTAIN
    assert all("resume" in line or "reset" in line for line in maintain.HOW)
