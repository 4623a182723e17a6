"""The folder of results: nothing of somebody else's is lost, and no file is ever half written."""

import json

import pytest

from host_sim.errors import InputError
from host_sim.report import files


def ours(folder):
    """Make `folder` look like the results of an earlier night."""
    folder.mkdir()
    (folder / files.SUMMARY).write_text(json.dumps({"made_by": files.MADE_BY}))
    (folder / "strip.png").write_bytes(b"old picture")


def test_a_folder_that_does_not_exist_is_not_made_by_looking(tmp_path):
    files.check(tmp_path / "new" / "deep")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_an_earlier_night_may_be_written_anew(tmp_path):
    ours(tmp_path / "night")
    files.check(tmp_path / "night")
    files.write(tmp_path / "night", "strip.png", lambda path: path.write_bytes(b"new picture"))
    assert (tmp_path / "night" / "strip.png").read_bytes() == b"new picture"


@pytest.mark.parametrize("summary", [None, "not json", "[]", '{"made_by": "somebody else"}'])
def test_a_file_that_is_not_ours_is_never_overwritten(tmp_path, summary):
    (tmp_path / "timeline.txt").write_text("my notes")
    if summary is not None:
        (tmp_path / files.SUMMARY).write_text(summary)
    with pytest.raises(InputError, match=r"timeline\.txt.*name another folder"):
        files.check(tmp_path)
    assert (tmp_path / "timeline.txt").read_text() == "my notes"


def test_other_files_in_the_folder_do_not_matter(tmp_path):
    (tmp_path / "shopping.txt").write_text("check valve")
    files.check(tmp_path)


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "night").write_text("x")
    with pytest.raises(InputError, match="is a file"):
        files.check(tmp_path / "night")


def test_a_write_that_fails_leaves_the_older_file_whole(tmp_path):
    ours(tmp_path / "night")

    def fails(path):
        path.write_bytes(b"half a pic")
        raise OSError("disk full")

    with pytest.raises(InputError, match=r"disk full.*the older one is kept"):
        files.write(tmp_path / "night", "strip.png", fails)
    assert (tmp_path / "night" / "strip.png").read_bytes() == b"old picture"
    assert sorted(path.name for path in (tmp_path / "night").iterdir()) == ["strip.png", "summary.json"]


def test_a_full_disk_is_told_with_the_file_and_what_was_written_before_it(tmp_path):
    # /dev/full takes no byte: what is written there fails as on a full disk.
    (tmp_path / ".closeup.partial.txt").symlink_to("/dev/full")
    contents = [("timeline.txt", "first"), ("closeup.txt", "second"), ("summary.json", "third")]
    with pytest.raises(InputError) as refused:
        files.write_all(tmp_path, contents)
    told = str(refused.value)
    assert "closeup.txt cannot be written (No space left on device); there is none" in told
    assert "timeline.txt written in this run; not reached: summary.json" in told
    assert [path.name for path in tmp_path.iterdir()] == ["timeline.txt"]


@pytest.mark.parametrize("place", ["/proc/results", "/proc/self/results/deep"])
def test_a_place_in_which_nobody_can_write_is_refused_before_anything_runs(place):
    with pytest.raises(InputError, match=r"/proc.*cannot be written to"):
        files.check(place)


def test_a_folder_below_a_file_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("x")
    with pytest.raises(InputError, match=r"notes\.txt is a file, so .*deep cannot be made in it"):
        files.check(tmp_path / "notes.txt" / "deep")
    with pytest.raises(InputError, match="cannot be written"):
        files.write(tmp_path / "notes.txt" / "deep", "strip.png", "x")


def test_a_name_that_no_disk_takes_is_refused(tmp_path):
    with pytest.raises(InputError, match="cannot be written to"):
        files.check(tmp_path / ("x" * 300))


def test_looking_leaves_no_file_behind(tmp_path):
    (tmp_path / "there").mkdir()
    files.check(tmp_path / "there")
    assert list((tmp_path / "there").iterdir()) == []
