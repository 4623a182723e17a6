"""`sumpbench replay` on what it cannot use: a clear error and exit code 2, never a traceback, never 1."""

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
