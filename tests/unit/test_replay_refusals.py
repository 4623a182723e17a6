"""`sumpbench replay` on what it cannot use: a clear error and exit code 2, never a traceback, never 1."""

import io

import pytest

from host_sim.cli.app import main
from host_sim.replay.reading import export, mapping
from tests.replay_nights import demo, logged, night


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """Give the path of a CSV log of half an hour, its mapping beside it."""
    folder = tmp_path_factory.mktemp("short")
    log = logged(night(demo(0.5)))
    export.write(log, folder / "log.csv")
    (folder / "log.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    return folder / "log.csv"


@pytest.fixture
def sumpbench(monkeypatch, capsys):
    """Give a function that runs the command line and returns (exit code, what it printed, errors included)."""

    def run(*given):
        monkeypatch.setattr("sys.argv", ["sumpbench", *map(str, given)])
        with pytest.raises(SystemExit) as left:
            main()
        printed = capsys.readouterr()
        return left.value.code, " ".join((printed.out + printed.err).split())

    return run


@pytest.mark.parametrize("place", ["/proc/results", "FILE/deep"])
def test_a_folder_that_cannot_be_made_is_refused(sumpbench, short, place):
    place = place.replace("FILE", str(short))
    code, told = sumpbench("replay", short, "--site", "demo", "--out", place)
    assert code == 2
    assert "name another folder" in told and "--out" in told


def test_a_full_disk_ends_in_2_and_says_what_was_written(sumpbench, short, tmp_path):
    (tmp_path / ".account.partial.txt").symlink_to("/dev/full")  # every write to it fails as on a full disk
    code, told = sumpbench("replay", short, "--site", "demo", "--no-what-if", "--out", tmp_path)
    assert code == 2
    assert "account.txt cannot be written (No space left on device)" in told
    assert "strip.png, strip.html written in this run; not reached: account.json" in told
    assert sorted(path.name for path in tmp_path.iterdir()) == ["strip.html", "strip.png"]


def test_a_map_of_a_sweep_that_is_not_ours_is_left_alone(sumpbench, short, tmp_path):
    (tmp_path / "sweep.png").write_text("mine")
    code, told = sumpbench("replay", short, "--site", "demo", "--out", tmp_path)
    assert code == 2 and "sweep.png that no replay of ours wrote" in told


@pytest.mark.parametrize("given", [["--sweep", "pump=100%:200%:2"], ["--change", "repaired"]])
def test_a_change_with_no_what_if_is_refused_instead_of_dropped(sumpbench, short, tmp_path, given):
    code, told = sumpbench("replay", short, "--site", "demo", "--no-what-if", *given, "--out", tmp_path / "out")
    assert code == 2 and given[0] in told and "--no-what-if" in told
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("given", [["--sweep", "pump=100%:200%:2"], ["--change", "repaired"]])
def test_a_change_to_a_journal_without_a_site_is_refused_instead_of_dropped(sumpbench, tmp_path, given):
    night(demo(0.1)).journal.write(tmp_path / "journal.jsonl")
    code, told = sumpbench("replay", tmp_path / "journal.jsonl", *given, "--out", tmp_path / "out")
    assert code == 2 and "--site" in told


def test_a_sweep_that_cannot_be_read_and_a_third_one_are_refused_at_once(sumpbench, short, tmp_path):
    for sweeps in (["pump=1:2"], ["pump=100%:200%:2", "pit.depth=30 in:40 in:2", "pipe=2 in:3 in:2"]):
        given = [part for sweep in sweeps for part in ("--sweep", sweep)]
        code, told = sumpbench("replay", short, "--site", "demo", *given, "--out", tmp_path / "out")
        assert code == 2 and "--sweep" in told


@pytest.mark.parametrize("rows", ["2024-01-01 10:00,200\n", "2024-01-01,200\n2024-01-01,210\n"])
def test_a_log_of_one_row_is_refused(sumpbench, tmp_path, rows):
    (tmp_path / "log.csv").write_text("t,h\n" + rows)
    (tmp_path / "map.toml").write_text('[time]\ncolumn = "t"\n[level]\ncolumn = "h"\nunit = "mm"\n')
    code, told = sumpbench("replay", tmp_path / "log.csv", "--site", "demo", "--mapping", tmp_path / "map.toml",
                           "--out", tmp_path / "out")  # fmt: skip
    assert code == 2
    assert "two rows at different times" in told and ("time_of_day" in told) == ("10:00" not in rows)


def test_a_log_in_which_no_contact_turns_is_refused(sumpbench, tmp_path):
    (tmp_path / "log.csv").write_text("t,lead\n0,0\n60,0\n120,0\n")
    (tmp_path / "map.toml").write_text('[time]\ncolumn = "t"\nformat = "seconds"\n[contacts.lead]\ncolumn = "lead"\n')
    code, told = sumpbench("replay", tmp_path / "log.csv", "--site", "demo", "--mapping", tmp_path / "map.toml",
                           "--out", tmp_path / "out")  # fmt: skip
    assert code == 2 and "no contact" in told


BROKEN = {
    "as it is read": "raise OSError('no such board')",
    "as it is read, by leaving": "import sys\nsys.exit(1)",
    "as it starts": "class Controller:\n    def __init__(self, settings):\n        raise KeyError('setting')",
    "without a controller": "x = 1",
    "as it steps": "class Controller:\n    def __init__(self, settings):\n        pass\n"
                   "    def power_up(self, now, retained=None):\n        return 1 / 0",
}  # fmt: skip


@pytest.mark.parametrize("how", BROKEN)
@pytest.mark.parametrize("log", ["table", "journal", "long"])
def test_a_firmware_that_raises_is_told_with_its_error(sumpbench, short, tmp_path, how, log):
    (tmp_path / "control").mkdir()
    (tmp_path / "control" / "controller.py").write_text(BROKEN[how] + "\n")
    path, more = short, ["--site", "demo"]
    if log == "journal":
        path, more = tmp_path / "journal.jsonl", []
        night(demo(0.1)).journal.write(path)
    more += ["--long"] if log == "long" else []
    code, told = sumpbench("replay", path, *more, "--firmware", tmp_path, "--out", tmp_path / "out")
    assert code == 2
    assert "--firmware" in told and "Error" in told.replace("SystemExit", "Error")


def test_a_file_given_as_a_firmware_is_refused(sumpbench, short, tmp_path):
    code, told = sumpbench("replay", short, "--site", "demo", "--firmware", short, "--out", tmp_path / "out")
    assert code == 2 and "holds no firmware" in told


def test_answers_that_end_early_are_bad_input(sumpbench, tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text("time,level_mm\n2024-03-09 10:00,100\n2024-03-09 10:01,110\n")
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    code, told = sumpbench("replay", path, "--site", "demo", "--map", "--out", tmp_path / "out")
    assert code == 2 and "input ended before every question was answered" in told
