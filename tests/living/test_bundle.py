"""What the page carries of Python is all that it needs, and no more: it lives where nothing else is installed."""

import json
import os
import subprocess
import sys
import zipfile

import pytest

from host_sim.living import bundle

LIFE = """
import sys, json
sys.path.insert(0, sys.argv[1])
from host_sim.living import in_browser as pit
told = [json.loads(pit.begin())]
def hear(**message):
    told.extend(json.loads(pit.hear(json.dumps(message))))
hear(do="inflow", value="20 gpm")
hear(speed=600)
for _ in range(3):
    told.append(json.loads(pit.look(500)))
hear(do="break", value="pump1-jammed")
hear(do="repair", value="pump1-jammed", at="2 h")
hear(next=True)
hear(save=True)
hear(share=True)
hear(take=told[-1]["share"])
hear(open=[one for one in told if "site" in one][0]["site"])
hear(packaged="demo", own=True)
hear(system="si")
hear(back=0)
hear(prove="first")
hear(prove="more")
others = [name for name, one in sys.modules.items() if "site-packages" in (getattr(one, "__file__", None) or "")]
print(json.dumps([others, [one for one in told if "error" in one], len(told)]))
"""


def test_it_lives_with_no_package_installed(tmp_path):
    bundle.write(tmp_path / "bundle.zip")
    zipfile.ZipFile(tmp_path / "bundle.zip").extractall(tmp_path / "pit")
    done = subprocess.run([sys.executable, "-I", "-S", "-c", LIFE, str(tmp_path / "pit")], capture_output=True,
                          text=True, check=False, env=os.environ | {"SUMPBENCH_CORE": "pure"})  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    others, errors, told = json.loads(done.stdout)
    assert others == [] and errors == [] and told > 13


def test_nothing_of_the_bench_the_proof_and_the_reports_on_paper_is_carried(tmp_path):
    bundle.write(tmp_path / "bundle.zip")
    names = zipfile.ZipFile(tmp_path / "bundle.zip").namelist()
    assert {"host_sim/living/in_browser.py", "host_sim/scenarios/demo.toml", "duplexsump/control/controller.py",
            "duplexsump/station/loop.py", "tomli_w/_writer.py"} <= set(names)  # fmt: skip
    for name in ("hil/", "host_sim/proof/", "host_sim/replay/", "host_sim/sizing/", "host_sim/report/strip.py"):
        assert not [one for one in names if one.startswith(name)], name
    assert (tmp_path / "bundle.zip").stat().st_size < 400_000


def test_an_import_inside_a_function_is_found(tmp_path, monkeypatch):
    package = tmp_path / "host_sim_like"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "first.py").write_text("def work():\n    from host_sim_like import second\n    return second\n")
    (package / "second.py").write_text("from . import third\n")
    (package / "third.py").write_text("import json, numpy\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(bundle, "OURS", ("host_sim_like",))
    assert set(bundle.modules("host_sim_like.first")) == {
        f"host_sim_like{part}" for part in ("", ".first", ".second", ".third")
    }


@pytest.mark.parametrize("clause", ["D1", "L2", "R3", "S7", "M1", "A4"])
def test_the_narrative_has_a_mark_at_every_clause_that_is_linked_to(clause):
    from host_sim.living import narrative

    assert narrative.page().count(f'id="{clause}"') == 1
