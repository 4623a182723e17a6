"""The report: verdict, page, JSON, settings file, sized site, and the command's exit codes."""

import json
import re
import tomllib

import pytest
from duplexsump.control import settings as control
from markupsafe import escape
from typer.testing import CliRunner

from host_sim.board.settings_file import from_file
from host_sim.cli.app import app
from host_sim.cli.app import main as command_line
from host_sim.errors import InputError
from host_sim.run import closed_loop
from host_sim.site.load import load_site
from host_sim.sizing.document import edited, to_toml
from host_sim.sizing.limits import LIMITS
from host_sim.sizing.model import size
from host_sim.sizing.remarks.catalogue import CATALOGUE
from host_sim.sizing.report import output
from host_sim.sizing.report.as_html import as_html
from host_sim.sizing.report.as_json import as_json
from host_sim.sizing.report.page import build
from host_sim.sizing.say import Say
from tests.sizing_sites import SOUND

BAD = {"sizing.outfall.to": "sanitary sewer", "sizing.basin.cover": "none", "pit.shape": "square", "pit.side": "30 in",
       "pit.diameter": None}  # fmt: skip


@pytest.fixture(scope="module")
def pages():
    say = Say("us")
    return {name: build(size(edited(SOUND, edits)), say) for name, edits in (("good", {}), ("bad", BAD))}


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(to_toml(SOUND), encoding="utf-8")
    return path


@pytest.mark.long
def test_the_page_needs_nothing_but_itself(pages):
    for page in pages.values():
        html = as_html(page, Say("us"))
        # What a drawing refers to lies in the page itself, under an id that is there once.
        targets = re.findall(r'(?:href="#|url\(#)([^")]+)', html)
        ids = re.findall(r'\bid="([^"]+)"', html)
        assert targets and set(targets) <= set(ids) and len(ids) == len(set(ids))
        assert not re.search(r"src\s*=|@import|<script|<image", re.sub(r'href="#|url\(#', "", html))
        assert not re.search(r"href|url\(", re.sub(r'href="#|url\(#', "", html))
        assert html.count("<svg") == 4 and as_html(page, Say("us")) == html


def test_what_a_site_says_of_itself_is_text_on_the_page_and_nothing_else():
    page = build(size(edited(SOUND, {"name": "<script>alert(1)</script> & pit"})), Say("us"), False, False)
    html = as_html(page, Say("us"))
    assert "<script" not in html and "&lt;script&gt;alert(1)&lt;/script&gt; &amp; pit" in html


def test_the_curves_meet_at_the_operating_point(pages):
    from host_sim.sizing.head import ALONE_1, BOTH

    page = pages["good"]
    for which, name in ((ALONE_1, "pump 1"), (BOTH, "both pumps")):
        flow = page.result.flow(which)
        assert height(page.curves[name], flow) == pytest.approx(height(page.curves["system"], flow), rel=0.02)


def height(points, flow):
    for (q0, h0), (q1, h1) in zip(points, points[1:], strict=False):
        if q0 <= flow <= q1:
            return h0 + (h1 - h0) * (flow - q0) / (q1 - q0)
    raise AssertionError(f"{flow} lies outside the curve")


def test_the_json_holds_every_value_limit_and_source(pages):
    report = json.loads(json.dumps(as_json(pages["bad"], Say("us")), allow_nan=False))
    assert report["verdict"] == "does not fit" and "sanitary sewer" in report["headline"]
    keys = {row["key"] for section in report["sections"] for row in section["rows"]}
    wanted = [
        "inflow.design", "inflow.margin", "inflow.1.measured", "inflow.1.low", "inflow.1.high",
        "head.off.pump_1_alone.flow", "head.high.both.flow", "head.lag_gain", "head.larger.flow",
        "head.line.riser_1.inside", "head.line.riser_1.loss", "head.line.static",
        "head.high.both.velocity_header", "head.off.both.through_1", "pit.across", "pit.needed",
        "pit.drain_back", "pit.uplift", "pit.cover", "pit.outfall_distance", "pit.recirculates",
        "cycling.band", "cycling.time_anywhere", "cycling.starts_design", "cycling.starts_alone",
        "cycling.run", "cycling.rest", "reserve.one", "reserve.both", "reserve.wait_1", "reserve.one_fails",
        "reserve.none_runs", "reserve.overwhelms_one_1", "reserve.overwhelms_both_1", "supply.circuits",
        "supply.design.shortest", "supply.design.longest", "supply.recharge", "supply.needed", "supply.drop",
        "supply.fuse", "supply.surge", "supply.inverter", "contacts.off.dry", "contacts.high.wet",
        "contacts.dry_run",
    ]  # fmt: skip
    assert set(wanted) <= keys
    limits = {limit["name"]: limit for limit in report["limits"]}
    assert set(limits) == {limit.name for limit in LIMITS}
    assert all(limit["source"] and limit["meaning"] for limit in limits.values())
    named = {row["limit"] for section in report["sections"] for row in section["rows"] if "limit" in row}
    assert named <= set(limits)
    assert len(report["catalogue"]) == len(CATALOGUE)
    assert all(item["cures"] for item in report["remarks"])
    assert report["settings"]["starts_per_hour"] == 15 and len(report["settings"]) == control.N_SETTINGS
    assert {check["agrees"] for check in report["confirmed"]} == {True}
    assert {"check valve, one in each riser", "cover, bolted, with grommets"} <= {p["what"] for p in report["parts"]}
    assert all(p["rating"] and p["source"] for p in report["parts"])
    assert any("sewer" in caution for caution in report["cautions"])


def test_page_and_json_say_the_same(pages):
    page = pages["bad"]
    html, report = as_html(page, Say("us")), as_json(page, Say("us"))
    for item in report["remarks"]:
        assert item["title"] in html
    for section in report["sections"]:
        for row in section["rows"]:
            assert escape(row["shown"]) in html


@pytest.mark.long
def test_si_is_spoken_throughout():
    say = Say("si")
    html = as_html(build(size(SOUND), say, with_check=False), say)
    assert " L/s" in html and " mm" in html
    assert not re.search(r"\d (gpm|psi|ft|lb)\b", html)
    assert set(re.findall(r"([\d.]+) in\b", html)) <= {"1.5", "2", "2.5"}  # the nominal sizes of pipes


@pytest.mark.long
def test_the_command_leaves_page_settings_site_and_json(tmp_path, site):
    out = tmp_path / "out"
    done = CliRunner().invoke(app, ["size", str(site), "--out", str(out)])
    assert done.exit_code == 0, done.output
    assert "read the cautions at the end of" in " ".join(done.output[done.output.index("Before you work") :].split())
    assert "Fits" in done.output and "simulation agrees" in done.output
    assert sorted(path.name for path in out.iterdir()) == sorted(output.NAMES)
    # The settings file is what `sumpbench settings push` puts on a board; every setting is in it.
    values = from_file(out / "settings.toml", [-1] * control.N_SETTINGS)
    assert control.check(values) == []
    sized = load_site(out / "site.toml")
    assert sized.settings == values
    assert closed_loop.run(sized).floor_dry
    # The sized site is a site again, and sizes to the same.
    again = CliRunner().invoke(app, ["size", str(out / "site.toml"), "--out", str(tmp_path / "b"), "--no-check"])
    assert again.exit_code == 0, again.output
    assert (tmp_path / "b" / "settings.toml").read_text() == (out / "settings.toml").read_text()


def test_a_sized_site_that_is_changed_is_sized_afresh(tmp_path, site):
    out = tmp_path / "out"
    CliRunner().invoke(app, ["size", str(site), "--out", str(out), "--no-check"])
    sized, deeper = tomllib.loads((out / "site.toml").read_text(encoding="utf-8")), {"pit.depth": "44 in"}
    fresh, again = size(edited(SOUND, deeper)), size(edited(sized, deeper))
    assert again.settings == fresh.settings and again.contacts == fresh.contacts
    assert again.contacts != size(SOUND).contacts
    # What a person has taken out of the list stays as it is written.
    kept = edited(sized, {**deeper, "sizing.written": []})
    assert size(kept).contacts_given and size(kept).settings == size(SOUND).settings


@pytest.mark.long
def test_a_change_can_be_tried_and_what_does_not_fit_leaves_with_1(tmp_path, site):
    change = ["--with", 'sizing.outfall.to="sanitary sewer"', "--with", "sizing.basin.cover=none"]
    done = CliRunner().invoke(app, ["size", str(site), "--out", str(tmp_path / "o"), "--no-check", *change])
    assert done.exit_code == 1
    assert "never the sanitary sewer" in done.output and "bolted cover" in done.output
    as_text = CliRunner().invoke(app, ["size", str(site), "--out", str(tmp_path / "p"), "--no-check", "--json"])
    assert json.loads(as_text.output)["verdict"] == "fits"


def test_bad_input_leaves_with_2_and_writes_nothing(tmp_path, site, monkeypatch, capsys):
    site.write_text(to_toml(edited(SOUND, {"pit.depth": "deep"})), encoding="utf-8")
    out = tmp_path / "out"
    for given in ([str(site)], [str(tmp_path / "none.toml")], [], [str(site), "--with", "pit.depth"]):
        monkeypatch.setattr("sys.argv", ["sumpbench", "size", *given, "--out", str(out)])
        with pytest.raises(SystemExit) as left:
            command_line()
        assert left.value.code == 2
        told = capsys.readouterr().err
        assert "Traceback" not in told and ("pit.depth" in told or "size" in told)
        assert not out.exists()


def test_a_folder_of_somebody_elses_is_left_alone(tmp_path):
    (tmp_path / "sizing.html").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="that no sizing of ours wrote"):
        output.check(tmp_path)
    with pytest.raises(InputError, match="is a file"):
        output.check(tmp_path / "sizing.html")
