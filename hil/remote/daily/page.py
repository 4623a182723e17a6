"""The daily look as a page that prints on one sheet."""

from importlib import resources

from jinja2 import Environment

from hil.remote import svg, words
from hil.remote.daily import text


def render(look, pit, system="us"):
    """Return the page (HTML) of a daily look (`look.daily_look`) in the units of a system."""
    source = resources.files("hil.remote.daily").joinpath("page.html").read_text(encoding="utf-8")
    bad = [line["name"] for line in look["lines"] if not line["well"]]
    alarms = [
        {**alarm, "began": words.moment(alarm["began"]),
         "until": f"until {words.moment(alarm['ended'])}" if alarm["ended"] else "still active"}
        for alarm in look["alarms"][-12:]
    ]  # fmt: skip
    lines = [{"name": line["name"], "well": line["well"], "text": text.value(line, system)} for line in look["lines"]]
    return Environment(autoescape=True).from_string(source).render(
        pit=pit, when=words.moment(look["at"]), well=look["well"], lines=lines, alarms=alarms,
        verdict="All is well." if look["well"] else "Look at: " + ", ".join(bad) + ".", plots=plots(look, system),
    )  # fmt: skip


def plots(look, system):
    """Return the small plots of a look as SVG texts."""
    show = {
        "water pumped": lambda ml: words.volume(ml, system), "starts": lambda count: f"{count}",
        "lowest battery": lambda mv: f"{mv / 1000:.1f} V", "pump rate": lambda rate: words.flow(rate, system),
    }  # fmt: skip
    return [
        svg.bars(name, values, show[name], "14 days ago", "today")
        for name, values in look["plots"].items()
        if name != "lowest battery" or any(values)
    ]
