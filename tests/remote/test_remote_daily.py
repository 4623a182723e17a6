"""The daily look as a person reads it: text, page, one printed sheet, plots that name themselves."""

import re
import shutil
import subprocess

import pytest
from duplexsump.control import alarm_table

from hil.remote import svg, words
from hil.remote.daily import page, text

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
AT = 1_800_000_000.0


def line(name, value, unit, well=True, said=""):
    return {"name": name, "value": value, "unit": unit, "well": well, "text": said}


def look(alarms=12):
    """Return a look as full as it can be, invented."""
    lines = [
        line("water pumped", 3_785_412, "mL"), line("pump 1 starts", 40, ""), line("pump 1 run time", 61.4, "min"),
        line("pump 2 starts", 3, ""), line("pump 2 run time", 2, "min"), line("inflow", 7571, "mL/min"),
        line("inflow of the week before", 3785, "mL/min"), line("inflow over pump rate", 6, "%"),
        line("pump 1 wear", 26, "%", well=False), line("pump 2 wear", 0, "%"),
        line("battery", 13240, "mV", said="good"),
        line("battery under load", None, "mV", said="no run on the battery seen yet"), line("time to floor", 25, "min"),
        line("days since inspection", 12, "days"), line("pump 1 last run", 0.1, "days"),
        line("pump 2 last run", 6.2, "days"), line("alarms", alarms, "", well=not alarms),
    ]  # fmt: skip
    rows = [{"began": AT - 60 * n, "name": row[0], "text": row[3], "priority": "medium", "ended": None if n % 2 else AT}
            for n, row in zip(range(alarms), alarm_table.TABLE, strict=False)]  # fmt: skip
    plots = {"water pumped": [None, *range(0, 13_000_000, 1_000_000)], "starts": [3] * 14,
             "lowest battery": [12000] * 14, "pump rate": [None] * 14}  # fmt: skip
    return {"at": AT, "well": False, "lines": lines, "alarms": rows, "plots": plots}


def test_the_text_names_what_is_not_well_and_speaks_the_units_asked_for():
    # The US gallon is 3.785412 L by definition.
    title, body = text.message(look(), "home")
    assert title == "Pit home: look at pump 1 wear, alarms"
    assert re.search(r"^water pumped +1,000 gal$", body, re.M) and re.search(r"^inflow +2.0 gpm$", body, re.M)
    assert re.search(r"^! pump 1 wear +26 %$", body, re.M)
    assert re.search(r"^time to floor +at least 25 min$", body, re.M)
    assert re.search(r"^pump 2 last run +6 days ago$", body, re.M) and "battery under load  " in body
    assert re.search(r"^water pumped +3,785 L$", text.message(look(), "home", "si")[1], re.M)


def test_all_is_well_is_only_said_if_every_line_is():
    good = look(alarms=0)
    good["lines"] = [row for row in good["lines"] if row["well"]]
    assert text.message({**good, "well": True}, "home")[0] == "Pit home: all is well"
    assert "all is well" not in text.message(good, "home")[0]


def test_the_page_holds_every_line_and_every_plot():
    html = page.render(look(), "home")
    for row in look()["lines"]:
        assert f">{row['name']}</td>" in html
    assert html.count("<svg") == 4 and "still active" in html and "LOOK" in html
    assert "&lt;b&gt;" in page.render(look(), "<b>")


@pytest.mark.long
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium to print with")
def test_it_prints_on_one_sheet(tmp_path):
    file, sheet = tmp_path / "daily.html", tmp_path / "daily.pdf"
    file.write_text(page.render(look(), "home"))
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
               f"--user-data-dir={tmp_path}/profile", f"--print-to-pdf={sheet}", file.as_uri()]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    assert len(re.findall(rb"/Type\s*/Page\b", sheet.read_bytes())) == 1


def test_a_plot_shows_gaps_as_gaps():
    text_ = svg.curve("inflow", [(0, 1.0), (1, 2.0), (2, None), (3, 4.0), (4, 5.0)], str)
    assert text_.count("<polyline") == 2 and "1.0 to 5.0" in text_
    assert "no record" in svg.curve("inflow", [], str) and "no record" in svg.bars("starts", [None], str)
    bars = svg.bars("starts", [1, None, 2], str)
    assert bars.count("<rect") == 2 and bars.count("<circle") == 1


def test_words_of_times():
    assert [words.span(n) for n in (5, 120, 125, 3 * 1440)] == ["5 min", "2 h", "2 h 5 min", "3 days"]
    assert words.at_least(0) == "perhaps less than 1 min" and words.at_least(7) == "at least 7 min"
