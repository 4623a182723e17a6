"""The record: every item or a refusal, two sheets of paper, black and white, nothing of somebody else's overwritten."""

import html
import json
import re
import shutil
import subprocess

import pytest

from hil import record
from hil.record import document as doc
from hil.record import items as it
from hil.record.page import as_html
from host_sim.board.settings_file import checksum
from host_sim.errors import InputError
from host_sim.report.sheet import HEIGHT_MM, Cell, Sheet, Table
from tests.sampled import sampled

LONG = "the selector of pump 2 was wired to the terminals of pump 1 and the other way round; put right on the day; "


def some_items(words="as it should be"):
    """Return every item, their verdicts by turns."""
    found = {}
    for place, key in enumerate(it.KEYS):
        verdict = it.VERDICTS[place % len(it.VERDICTS)]
        found[key] = {"verdict": verdict, "shown": words, "note": words, "by": "board"}
        if verdict == it.NOT_TESTED:
            found[key] = {"verdict": verdict, "shown": "", "why": words}
    return found


def hose_document(words="as it should be", **more):
    return record.hose_test(some_items(words), site="An invented basement", board={"port": "/dev/ttyACM0"},
                            begun="today", sizing="the settings on the board", **more)  # fmt: skip


def procedure(name, verdict="pass", many=4):
    measurements = [{"name": f"lead wet to pump on, case {i}", "value": 1.1, "unit": "s", "low": 0.7, "high": 1.6,
                     "margin": 0.1, "verdict": "pass"} for i in range(many)]  # fmt: skip
    checks = [{"name": "horn", "verdict": "pass", "seen": "on"}]
    why = "the kit has no such wire" if verdict == "skipped" else ""
    return {"name": name, "purpose": "It does what it must.", "clauses": ["D1", "L1"], "verdict": verdict, "why": why,
            "measurements": measurements, "checks": checks, "notes": [LONG], "seconds_bench": 1.0,
            "seconds_wall": 0.1}  # fmt: skip


def acceptance(count=39, hose=None, many=4, hardware=True):
    verdicts = ("pass", "marginal", "skipped")
    entries = [procedure(f"procedure_{i}", verdicts[i % 3], many) for i in range(count)]
    return {"kind": "acceptance", "when": "2031-05-25T10:00:00+00:00", "complete": True, "why_incomplete": "",
            "hardware": hardware, "kit": {"place": "virtual", "firmware": "0badcafe", "wiring": "all", "seed": 0,
                                          "settings_values": [1, 2]},
            "latency": {"median_ms": 50, "worst_ms": 99, "samples": 20}, "procedures": entries, "hose_test": hose,
            "hose_test_why": "" if hose else "left out", "log": "a log"}  # fmt: skip


def test_an_item_that_is_missing_is_refused_by_name():
    found = some_items()
    del found["power_cut"]["verdict"]
    with pytest.raises(InputError, match="power_cut: verdict None"):
        record.hose_test(found)
    found = some_items()
    key = next(key for key, item in found.items() if item["verdict"] == it.NOT_TESTED)
    del found[key]["why"]
    with pytest.raises(InputError, match=f"{key}: not tested, without a reason"):
        record.hose_test(found)
    made = hose_document()
    del made["items"][3]
    with pytest.raises(InputError, match="items missing or out of order: found"):
        doc.check(made)


def test_a_skipped_procedure_without_a_reason_is_refused():
    made = acceptance(3)
    made["procedures"][2]["why"] = ""
    with pytest.raises(InputError, match="procedure_2: skipped, without a reason"):
        doc.acceptance(made)
    made = acceptance(3)
    made["hose_test_why"] = ""
    with pytest.raises(InputError, match="no hose test, without a reason"):
        doc.acceptance(made)


def test_the_worst_decides():
    good = {key: {"verdict": "pass", "shown": "yes"} for key in it.KEYS}
    assert record.hose_test(good)["verdict"] == "pass"
    assert record.hose_test({**good, "rate_1": {"verdict": "marginal", "shown": "x"}})["verdict"] == "marginal"
    bad = record.hose_test({**good, "rate_1": {"verdict": "fail", "shown": "x"}})
    assert bad["verdict"] == "fail"
    whole = doc.acceptance({**acceptance(2, bad), "procedures": [procedure("one")]})
    assert whole["verdict"] == "fail" and "1 FAILED" in whole["headline"]
    broken = doc.acceptance({**acceptance(1), "complete": False, "why_incomplete": "the port went away"})
    assert broken["headline"].startswith("INCOMPLETE: the port went away")


def test_the_acceptance_record_carries_everything(tmp_path):
    paths = record.write(acceptance(6, hose_document()), tmp_path / "out")
    made = json.loads(paths[0].read_text(encoding="utf-8"))
    assert made["board"]["settings"] == checksum([1, 2])
    assert made["board"]["firmware"] == "0badcafe" and made["latency"]["worst_ms"] == 99
    assert [row["key"] for row in made["hose_test"]["items"]] == list(it.KEYS)
    assert {entry["what"] for entry in made["untested"]} >= {"procedure_2", "procedure_5"}
    page = paths[1].read_text(encoding="utf-8")
    for entry in made["procedures"]:
        assert entry["name"].replace("_", " ") in page
    for row in made["hose_test"]["items"]:
        assert row["title"] in page
    assert "lead wet to pump on, case 3 1.1 s (0.7 to 1.6)" in page


def test_colour_is_no_signal_and_nothing_comes_from_outside():
    for page in (as_html(hose_document()), as_html(doc.acceptance(acceptance(6, hose_document())))):
        style = re.search(r"<style>(.*)</style>", page, re.DOTALL)[1]
        colours = set(re.findall(r"#[0-9a-f]{3,6}\b", style))
        assert colours <= {"#000", "#fff", "#777"}
        for word in ("PASS", "MARGINAL", "FAIL", "NOT TESTED"):
            assert f">{word}<" in page
        for outside in ("http", "src=", "url(", "<script", "@import"):
            assert outside not in page
        assert page.count('<section class="sheet"') == 2
        assert "break-before: page" in style and ".screen { display: none; }" in style


def words_of(page):
    """Return the words of a page without its markup and style, one space between them."""
    page = re.sub(r"<style>.*</style>", " ", page, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page)).split())


@pytest.mark.parametrize("kind", ["hose", "acceptance"])
def test_a_simulated_run_says_across_every_sheet_that_no_hardware_was_tested_and_has_no_line_to_sign(kind):
    simulated = hose_document(no_hardware="everything was simulated")
    made = simulated if kind == "hose" else doc.acceptance(acceptance(3, simulated, hardware=False))
    page = as_html(made)
    sheets = page.split('<section class="sheet"')[1:]
    assert [sheet.count("NO HARDWARE WAS TESTED") for sheet in sheets] == [1, 1]
    assert "signature" not in page and 'class="sign"' not in page
    good = {key: {"verdict": "pass", "shown": "yes"} for key in it.KEYS}
    assert "SIMULATION PASSED" in words_of(as_html(record.hose_test(good, no_hardware="simulated")))


def test_a_real_one_is_signed_and_has_place_customer_and_date_at_its_head():
    for made in (hose_document(), doc.acceptance(acceptance(3))):
        words = words_of(as_html(made))
        assert "NO HARDWARE" not in words and "date, signature" in words
        blank = "An invented basement" if made["kind"] == doc.HOSE_TEST else ""
        assert re.search(rf"Place: {blank} ?Customer: Date: \d{{4}}-\d\d-\d\d", words), words[:300]
    named = hose_document(place="1 Invented Lane", customer="N. N.")
    assert "Place: 1 Invented Lane Customer: N. N. Date:" in words_of(as_html(named))


def test_what_was_not_tested_stands_beside_what_passed():
    words = words_of(as_html(hose_document()))
    counted = [sum(row["verdict"] == verdict for row in hose_document()["items"]) for verdict in it.VERDICTS]
    passed, marginal, failed, noted, untested = counted
    assert f"FAILED; {untested} NOT TESTED" in words
    row = f"{passed} PASSED {untested} NOT TESTED {failed} FAILED {marginal} MARGINAL {noted} noted"
    assert f"Hose test: {len(it.KEYS)} {row}" in words


def test_procedures_that_were_left_out_are_not_tested():
    made = doc.acceptance({**acceptance(1), "left_out": [{"what": "lock_out", "why": "not selected"},
                                                         {"what": "over_load", "why": "not selected"}]})  # fmt: skip
    words = words_of(as_html(made))
    assert "PASSED; 2 NOT TESTED" in words and "Procedures: 3 1 PASSED 2 NOT TESTED 0 FAILED 0 MARGINAL" in words
    assert "lock out, over load not selected" in words


def test_fewer_values_are_printed_rather_than_half_of_each():
    made = doc.acceptance(acceptance(39, hose_document(), 9))
    page = as_html(made)
    paper = page[: page.index('<div class="screen">')].split('<section class="sheet"')[1]
    assert "in full in the JSON" not in paper and "8 more values and 1 check passed" in paper


def test_names_of_what_was_not_tested_are_never_shortened():
    left_out = [{"what": f"left_out_number_{i}", "why": "not selected"} for i in range(38)]
    words = words_of(as_html(doc.acceptance({**acceptance(44, hose_document(LONG * 4), 9), "left_out": left_out})))
    assert "in full in the JSON" in words
    assert ", ".join(entry["what"].replace("_", " ") for entry in left_out) in words


def test_a_run_that_tested_nothing_has_not_passed():
    made = doc.acceptance({**acceptance(0), "procedures": [procedure("one", "skipped")]})
    assert made["verdict"] == "not tested"
    assert "NOTHING WAS TESTED; 1 NOT TESTED" in words_of(as_html(made)) and ">PASSED" not in as_html(made)


def test_what_somebody_wrote_is_data_not_markup():
    page = as_html(hose_document("<b>wet</b> & cold"))
    assert "<b>wet</b>" not in page and "&lt;b&gt;wet&lt;/b&gt; &amp; cold" in page


def test_the_type_shrinks_before_text_is_cut():
    def sheet(rows, text):
        return Sheet(0.0, 0.0, [Table((60.0, 126.0), [[Cell("name"), Cell(text)] for _ in range(rows)])])

    assert sheet(10, "short").fit() == (9.5, 400)
    point, longest = sheet(60, LONG).fit()
    assert point < 9.5 and longest == 400
    assert sheet(60, LONG * 3).fit()[1] < 400
    for rows, text in ((10, "short"), (60, LONG), (60, LONG * 3)):
        made = sheet(rows, text)
        assert sum(block.height_mm(*made.fit()) for block in made.blocks) <= HEIGHT_MM


def test_nothing_of_somebody_elses_is_overwritten(tmp_path):
    folder = tmp_path / "out"
    record.check(folder)
    assert not folder.exists()
    record.write(acceptance(1), folder)
    record.check(folder)  # our own may be written anew
    (folder / "record.json").write_text('{"my": "notes"}', encoding="utf-8")
    with pytest.raises(InputError, match="no acceptance run of ours wrote"):
        record.check(folder)
    path = tmp_path / "hose.json"
    record.check_file(path)
    record.write_hose_test(hose_document(), path)
    with pytest.raises(InputError, match="never overwritten"):
        record.check_file(path)
    with pytest.raises(InputError, match=r"ends with \.json"):
        record.check_file(tmp_path / "hose.txt")
    (tmp_path / "page.html").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="never overwritten"):
        record.check_file(tmp_path / "page.json")


def test_the_settings_checksum_is_a_crc_32():
    # CRC-32 (IEEE 802.3) of the text "12345678", which is what these two words are, high byte first.
    assert checksum([0x31323334, 0x35363738]) == "9ae0daaf"
    assert checksum([1, 2]) != checksum([2, 1])


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.mark.long
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium to print with")
@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("what", sampled(["hose, wordy", "hose, virtual", "acceptance, virtual", "acceptance, wordy",
                                          "acceptance, virtual, wordy"], 4))
def test_it_prints_on_two_sheets(tmp_path, paper, what):
    words = LONG * 4 if "wordy" in what else "41.1 gpm; sized 41.1 gpm, 32.9 gpm to 57.5 gpm"
    made = hose_document(words, no_hardware="simulated" if "virtual" in what else "")
    if "acceptance" in what:
        made = doc.acceptance(acceptance(44, made, 9 if "wordy" in what else 3, hardware="virtual" not in what))
    page, out = tmp_path / "record.html", tmp_path / "record.pdf"
    page.write_text(as_html(made).replace("</style>", f"@page {{ size: {paper} portrait; }}</style>"), encoding="utf-8")
    subprocess.run([CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
                    f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={out}", page.as_uri()],
                   check=True, capture_output=True, timeout=600)  # fmt: skip
    assert len(re.findall(rb"/Type\s*/Page\b", out.read_bytes())) == 2
