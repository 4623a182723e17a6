"""The whole firmware on real MicroPython in a simulated pit: cut, killed, deployed to, read back."""

import random
import shutil
import subprocess
import sys
import time

import pytest
from duplexsump.station import registers as r

from host_sim.board import deploy as work
from host_sim.board import readback
from host_sim.board.client import Client, RefusedError
from host_sim.board.virtual import FIRMWARE, VirtualBoard
from host_sim.errors import InputError
from host_sim.replay import exact
from host_sim.run.journal import Life, Record, firmware_checksum, read_journal
from tests.micropython.places import ROOT
from tests.micropython.virtual_rig import PATIENCE_S, pit, ready, told, values, wait_for


def read_back(board):
    """Return the board's journal as segments."""
    with Client(board.port, patience_s=PATIENCE_S) as client:
        return [readback.read_segment(data) for data in readback.fetch(client)]


def sumpbench(*arguments):
    """Run the command line; return (exit code, what it printed)."""
    command = [sys.executable, "-m", "host_sim", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, cwd=ROOT, check=False,
                          env={"PYTHONPATH": f"{FIRMWARE / 'lib'}:{ROOT}", "PATH": "/usr/bin:/bin", "COLUMNS": "160"})
    return done.returncode, done.stdout + done.stderr


@pytest.mark.long
def test_a_night_read_back_replays_bit_for_bit(tmp_path):
    site = pit()
    with VirtualBoard(site, tmp_path / "flash.img", speed=0) as board:
        ready(board, site)
        wait_for(lambda: told(board.port, "starts_1") >= 8)
        board.power_cut()
        board.power_on()
        wait_for(lambda: values(board.port))
        wait_for(lambda: told(board.port, "journal_records") > 30)
        segments = read_back(board)
    found = readback.replay(segments)
    assert found.differences == []
    assert found.records > 150
    assert [segment.begins for segment in segments].count(True) >= 3
    # The simulator's journal carries the same and comes back from its file unchanged.
    journal = readback.to_journals(segments)[-1]
    journal.write(tmp_path / "board.jsonl")
    again = read_journal(tmp_path / "board.jsonl")
    assert again.records == journal.records
    passed = exact.replay(again)
    assert (passed.passed, passed.reason) == (True, "identical")
    assert sum(isinstance(record, Record) for record in again.records) > 150
    assert sum(isinstance(record, Life) and record.power == "up" for record in again.records) >= 2


def test_a_replay_that_differs_is_found(tmp_path):
    site = pit()
    with VirtualBoard(site, tmp_path / "flash.img", speed=0) as board:
        ready(board, site)
        wait_for(lambda: told(board.port, "starts_1") >= 1)
        segments = read_back(board)
    segments[-1].steps[-1].packed ^= 1
    assert len(readback.replay(segments).differences) == 1
    assert readback.replay([]).differences == ["nothing was compared: the journal holds no step"]


@pytest.mark.long
def test_killed_at_any_moment_it_loses_nothing(tmp_path):
    site = pit("20 gpm")
    draw = random.Random(5)
    with VirtualBoard(site, tmp_path / "flash.img", speed=0) as board:
        ready(board, site)
        for _ in range(12):
            records = draw.randrange(12, 25)
            wait_for(lambda records=records: told(board.port, "journal_records") >= records)
            time.sleep(draw.uniform(0.0, 0.1))  # any moment will do
            before = values(board.port)
            board.power_cut()
            board.power_on()
            after = wait_for(lambda: values(board.port))
            # Whatever was told over the link was on flash before it was told.
            for name in ("starts_1", "starts_2", "trips_1", "trips_2", "settings_sequence"):
                assert after[name] >= (before or after)[name], name
            assert after["storage_faults"] == 0
        wait_for(lambda: told(board.port, "starts_1") > 3)
        segments = read_back(board)
    lives = [segment.life for segment in segments]
    assert lives == sorted(lives)
    assert len(set(lives)) >= 13
    found = readback.replay(segments)
    assert found.differences == []
    assert found.records > 100


def test_maintenance_is_refused_while_lead_is_wet(tmp_path):
    site = pit("40 gpm", "15 in")
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        ready(board)
        with Client(board.port, patience_s=PATIENCE_S) as client:
            with pytest.raises(RefusedError):
                client.write_words(r.MAINTENANCE_AT, [r.MAINTENANCE_KEY])
            assert client.text(r.TEXT_AT, r.REFUSAL_WORDS) == "maintenance is refused while lead is wet"
        with pytest.raises(InputError, match="refuses maintenance: maintenance is refused while lead is wet"):
            work.enter(board.port, lambda words: None)
        assert board.causes == [0]


@pytest.mark.long
def test_an_exception_resets_and_the_next_life_says_why(tmp_path):
    # A firmware that fails once, in its tenth second: outputs safe, the reason kept, a reset that counts as a fault's
    # although the bench, as a chip might, calls it asked for.
    broken = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, broken, ignore=shutil.ignore_patterns("__pycache__"))
    main = broken / "lib/duplexsump/control/history.py"
    text = main.read_text()
    raising = (
        "        if self.inflow_ml_min == 0 and out:\n"
        "            try:\n"
        "                open('/pit/failed').close()\n"
        "            except OSError:\n"
        "                open('/pit/failed', 'w').close()\n"
        "                raise ValueError('spoilt')\n"
    )
    spoilt = text.replace('ran."""\n', 'ran."""\n' + raising)
    assert spoilt != text
    main.write_text(spoilt)
    site = pit("30 gpm", "15 in")
    with VirtualBoard(site, tmp_path / "flash.img", speed=4, firmware=broken) as board:
        wait_for(lambda: board.lives > 1)
        assert board.outputs & 31 == 0
        assert board.causes[1] == 2
        wait_for(lambda: values(board.port))
        with Client(board.port, patience_s=PATIENCE_S) as client:
            assert client.text(r.REASON_AT, r.REASON_WORDS) == "ValueError: spoilt"
            assert client.values()["reset_cause"] == 1
            events = [event[1] for segment in read_back_with(client) for event in segment.events]
    assert "exception" in events


def read_back_with(client):
    return [readback.read_segment(data) for data in readback.fetch(client)]


@pytest.mark.long
def test_deployment_updates_a_running_board_and_keeps_what_is_its_own(tmp_path):
    site = pit("1 gpm")
    said = []
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        before = ready(board, site)
        after = work.deploy(board.port, "posix", FIRMWARE, tmp_path / "build", say=said.append)
        segments = read_back(board)
        code, words = sumpbench("deploy", "--port", board.port, "--board", "pico", "--yes")
        # Refused, it runs again with what it had, and says so.
        assert work.wait_running(board.port, firmware_checksum(), said.append)["firmware"] == firmware_checksum()
        assert "nothing installed; the controller restarts with what it had" in " ".join(words.split())
    assert after["firmware"] == before["firmware"] == firmware_checksum(), "sources, compiled files and the PC agree"
    assert {segment.checksum for segment in segments} == {firmware_checksum()}
    assert readback.replay(segments).foreign == {}
    segments[0].checksum ^= 1
    assert readback.replay(segments).foreign == {segments[0].number: firmware_checksum() ^ 1}
    assert after["settings_sequence"] == before["settings_sequence"] == 1
    assert board.causes[:3] == [0, 2, 2]
    assert [segment.life for segment in segments][-1] == 3
    assert readback.replay(segments).differences == []
    assert any("every SHA-256 holds" in line for line in said)
    assert any("settings kept" in line for line in said)
    # Another board's firmware is refused before anything is copied.
    assert code == 2
    assert 'says it is "linux", but --board pico is "rp2"' in words


@pytest.mark.long
def test_the_line_is_set_on_a_running_board_and_its_new_unit_answers(tmp_path):
    site = pit("1 gpm")
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        ready(board, site)
        code, words = sumpbench("line", "--yes", "--port", board.port, "--new-unit", "17", "--rs485", "never")
        assert code == 0, words
        assert "unit: 1 -> 17" in words and "rs485: always -> never" in words and "baud: 19200" in words
        code, words = sumpbench("line", "--yes", "--port", board.port, "--unit", "17", "--usb", "never")
        assert code == 0 and "usb: always -> never" in words and "make the test jumper" in words
        code, words = sumpbench("line", "--yes", "--port", board.port, "--unit", "17", "--usb", "always")
        assert code == 2 and "Traceback" not in words
        code, words = sumpbench("line", "--port", board.port)
        assert code == 2 and "nothing to set" in words


@pytest.mark.long
def test_m6_maintain_hands_over_to_mpremote_and_the_controller_runs_again(tmp_path):
    site = pit("1 gpm")
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        ready(board, site)
        code, words = sumpbench("maintain", "--yes", "--port", board.port, "fs", "ls")
        assert code == 0, words
        assert "taken into maintenance: pumps stopped, outputs off" in words and "restarted" in words
        wait_for(lambda: values(board.port))
        code, words = sumpbench("maintain", "--port", board.port)
        assert code == 2 and "give --yes" in words and "stops both pumps" in words


@pytest.mark.long
def test_m8_hardware_is_written_on_a_running_board_and_read_back(tmp_path):
    site = pit("1 gpm")
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        ready(board, site)
        code, words = sumpbench("hardware", "--yes", "--port", board.port, "--active-low", "all", "--expander")
        assert code == 0, words
        assert "now: active-low outputs: all relays; I2C expander: yes" in words
        code, words = sumpbench("hardware", "--yes", "--port", board.port, "--active-low", "none")
        assert "before: active-low outputs: all relays; I2C expander: yes" in words
        assert "now: active-low outputs: none; I2C expander: yes" in words


def test_a_copy_that_breaks_off_leaves_the_old_firmware(tmp_path, monkeypatch):
    site = pit("1 gpm")
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        before = ready(board, site)
        monkeypatch.setattr(work, "VERIFY", "print(('boot.py', 'not what was sent'))")
        said = []
        with pytest.raises(InputError, match="the copy does not match, the old firmware stays"):
            work.deploy(board.port, "posix", FIRMWARE, tmp_path / "build", say=said.append)
        assert said[-1] == "nothing installed; the controller restarts with what it had"
        after = wait_for(lambda: values(board.port))
    assert after["firmware"] == before["firmware"]
    assert after["settings_sequence"] == 1


@pytest.mark.long
def test_the_commands_speak_to_a_board(tmp_path):
    site = pit("1 gpm")
    with VirtualBoard(site, tmp_path / "flash.img") as board:
        ready(board, site)
        code, words = sumpbench("watch", "--once", "--port", board.port)
        assert code == 0
        assert "high dry, lag dry, lead dry, off WET" in words
        pulled = tmp_path / "settings.toml"
        assert sumpbench("settings", "pull", "--port", board.port, "--out", pulled)[0] == 0
        pulled.write_text(pulled.read_text().replace("min_off = 60000", "min_off = 70000"))
        code, words = sumpbench("settings", "push", pulled, "--yes", "--port", board.port)
        assert (code, "min_off: 60000 -> 70000" in words) == (0, True)
        pulled.write_text("debounce = 1000\nmin_off = 1\nlag_min_of = 5\n")
        code, words = sumpbench("settings", "push", pulled, "--yes", "--port", board.port)
        assert (code, 'did you mean "lag_min_off"?' in words) == (2, True)
        pulled.write_text("min_off = 100\n")
        code, words = sumpbench("settings", "push", pulled, "--yes", "--port", board.port)
        assert (code, "min_off = 100: a whole number from 10000 to 1800000 ms" in words) == (2, True)
        code, words = sumpbench("journal", "--port", board.port, "--out", tmp_path / "journal")
        assert (code, "bit for bit the same" in words) == (0, True)
        assert (tmp_path / "journal" / "journal-1.jsonl").exists()
        with Client(board.port):
            code, words = sumpbench("watch", "--once", "--port", board.port)
        assert (code, "busy" in words, "Traceback" in words) == (2, True, False)
        assert told(board.port, "settings_sequence") == 2


@pytest.mark.long
@pytest.mark.parametrize(
    ("port", "words"),
    [("/dev/no-such-port", "there is no such port"), ("/tmp", "no serial port"), ("/dev/null", "serial port")],
)
def test_a_port_that_is_none_gets_one_clear_line(port, words):
    code, said = sumpbench("watch", "--once", "--port", port)
    assert code == 2
    assert words in said
    assert "Traceback" not in said
    assert len(said.strip().splitlines()) == 2


@pytest.mark.long
def test_a_board_with_another_register_map_can_be_deployed_to(tmp_path):
    older = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, older, ignore=shutil.ignore_patterns("__pycache__"))
    registers = older / "lib/duplexsump/station/registers.py"
    text = registers.read_text()
    assert f"MAP_VERSION = const({r.MAP_VERSION})" in text
    registers.write_text(text.replace(f"MAP_VERSION = const({r.MAP_VERSION})", "MAP_VERSION = const(77)"))
    said = []
    with VirtualBoard(pit(), tmp_path / "flash.img", firmware=older) as board:

        def other():
            try:
                with Client(board.port, patience_s=0.5) as client:
                    client.identify()
            except InputError as error:
                return "register map 77 on the board" in str(error)

        wait_for(other)
        before = work.enter(board.port, said.append)
        assert list(before) == ["firmware"]
        assert "taken into maintenance" in said[-1]
        work.Repl(board.port).wait(PATIENCE_S)


def test_a_board_whose_bench_was_killed_ends_too(tmp_path):
    script = (
        "import os, sys, time\n"
        "from host_sim.board.virtual import VirtualBoard\n"
        "from host_sim.site.load import load_site, packaged\n"
        "with VirtualBoard(load_site(packaged('demo')), sys.argv[1], speed=5) as board:\n"
        "    while board.fed_s is None:\n"
        "        time.sleep(0.05)\n"
        "    print(board.process.pid, flush=True)\n"
        "    os.kill(os.getpid(), 9)\n"
    )
    pit()
    command = [sys.executable, "-c", script, str(tmp_path / "flash.img")]
    environment = {"PYTHONPATH": f"{FIRMWARE / 'lib'}:{ROOT}", "PATH": "/usr/bin:/bin"}
    done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, cwd=ROOT, check=False,
                          env=environment)  # fmt: skip
    number = int(done.stdout)

    def state():
        # Z is a process that has ended and that nobody has asked after yet.
        command = ["ps", "-o", "stat=", "-p", str(number)]
        return subprocess.run(command, capture_output=True, text=True, check=False).stdout

    wait_for(lambda: state().strip()[:1] in ("", "Z"))
