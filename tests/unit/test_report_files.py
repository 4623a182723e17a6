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

    with pytest.raises(OSError, match="disk full"):
        files.write(tmp_path / "night", "strip.png", fails)
    assert (tmp_path / "night" / "strip.png").read_bytes() == b"old picture"
    assert sorted(path.name for path in (tmp_path / "night").iterdir()) == ["strip.png", "summary.json"]
