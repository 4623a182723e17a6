"""`sumpbench build` as it is typed: where its guide goes, and what it refuses before anybody buys or builds."""

import json

import pytest
from duplexsump.control import settings as s

from hil.cli import build, commission
from host_sim.board import settings_file
from host_sim.errors import InputError
from host_sim.guide import assembly
from host_sim.site.load import packaged
from tests.guides import subject

pytest.importorskip("schemdraw")


@pytest.mark.long
def test_a_guide_has_a_folder_for_each_board_and_writes_over_no_other_boards(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    build.build(board=build.Wired.pico)
    build.build(board=build.Wired.pico, expander=False)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["sumpbench-build-pico", "sumpbench-build-pico-no-expander"]
    kept = tmp_path / "sumpbench-build-pico"
    before = (kept / "build.html").read_bytes()
    for board, expander in (("esp32", True), ("pico", False)):
        with pytest.raises(InputError, match="holds the guide for pico: name another folder"):
            build.build(board=build.Wired(board), expander=expander, out=kept)
    assert (kept / "build.html").read_bytes() == before
    build.build(board=build.Wired.pico, active_low=True, out=kept)
    assert (kept / "build.html").read_bytes() != before, "the same board's is written anew"
    assert json.loads((kept / "build.json").read_text())["board"] == "pico"


def test_a_site_that_is_not_sized_yet_is_told_what_to_do(tmp_path):
    path = tmp_path / "my-site.toml"
    path.write_text('name = "mine"\n[pit]\ndepth = "30 in"\n', encoding="utf-8")
    with pytest.raises(InputError, match=rf"size it, sumpbench size {path}.*--site sumpbench-size/site.toml"):
        build.build(site=path, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()
    # The same file is refused in the same words by whoever else takes it.
    with pytest.raises(InputError, match="no contacts yet: size it"):
        settings_file.from_file(path, s.defaults())
    with pytest.raises(InputError, match="no contacts yet: size it"):
        commission.commission(virtual=True, site=path)
    assert assembly.SITE in " ".join(f"{do} {test}" for do, test in assembly.steps(subject("pico", True)))


def test_a_site_that_the_board_cannot_read_is_refused_before_anything_is_bought(tmp_path):
    with pytest.raises(InputError, match=r"no input for it|both read at"):
        build.build(site=packaged("demo"), board=build.Wired.esp32, expander=False, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_what_goes_with_the_check_alone_is_refused_without_it(tmp_path):
    for given in ({"port": "COM5"}, {"virtual": True}, {"line": "COM6"}):
        with pytest.raises(InputError, match="go with --check"):
            build.build(out=tmp_path / "out", **given)
    with pytest.raises(InputError, match="--line is a real RS-485 line's"):
        build.build(check=True, virtual=True, line="COM6")


@pytest.mark.parametrize(("report", "said"), [
    ({"made_by": "sumpbench size", "headline": "Does not fit: no battery fuse"}, "Does not fit: no battery fuse"),
    ({"made_by": "somebody", "headline": "Fits"}, ""), ([], ""), (None, ""),
])  # fmt: skip
def test_what_the_sizing_says_of_the_site_is_on_the_guides_first_sheet(tmp_path, capsys, report, said):
    site = tmp_path / "site.toml"
    site.write_text(packaged("demo").read_text(encoding="utf-8"), encoding="utf-8")
    if report is not None:
        (tmp_path / "sizing.json").write_text(json.dumps(report), encoding="utf-8")
    assert build._sizing(site) == said and build._sizing(tmp_path / "other.toml") == build._sizing(None) == ""
    if said:
        build.build(site=site, out=tmp_path / "out")
        assert said in (tmp_path / "out" / "build.html").read_text() and said in capsys.readouterr().out
