"""The fleet's page: who floods first, and a month of each pit."""

import contextlib
import json
import time
from importlib import resources

from duplexsump.control import alarm_table
from jinja2 import Environment

from hil.remote import svg, topics, words
from hil.remote.door import Door

MONTH_S = 30 * 86400.0
HOUR_S = 3600.0
_TEXTS = {row[alarm_table.NAME]: row[alarm_table.TEXT] for row in alarm_table.TABLE}


def cells(row, now, system="us"):
    """Return the texts of one row of `Store.ranking`."""
    share = f"{100 * row['inflow'] / row['rate']:.0f} %" if row["inflow"] is not None and row["rate"] else ""
    silent = "the controller is silent" if row["board_up"] == 0 else "the gateway is silent"
    heard = "never" if row["heard"] is None else f"{max(0, now - row['heard']):.0f} s ago"
    if row["heard"] is not None and now - row["heard"] > 120:
        heard = words.span((now - row["heard"]) / 60) + " ago"
    return {
        "pit": row["pit"], "silent": row["silent"], "heard": f"{silent}, {heard}" if row["silent"] else heard,
        "floor": "no figure" if row["floor_min"] is None else words.at_least(row["floor_min"]),
        "inflow": "" if row["inflow"] is None else words.flow(row["inflow"], system), "share": share,
        "pumps_out": "" if row["pumps_out"] is None else str(row["pumps_out"]),
        "battery": "" if row["battery"] is None else f"{row['battery'] / 1000:.1f} V",
        "mains": {0: "OUT", 1: "on"}.get(row["mains"], ""),
        "alarms": ", ".join(_TEXTS.get(name, name) for name in (row["alarms"] or "").split()),
    }  # fmt: skip


def hourly(statuses, name, best=max):
    """Return [(hour, value or None)] of a field, the `best` of each hour; an hour without a status is a gap."""
    found = {}
    for status in statuses:
        value = status[name]
        if value is not None:
            hour = int(status["at"] // HOUR_S)
            found[hour] = value if hour not in found else best(found[hour], value)
    if not found:
        return []
    return [(hour, found.get(hour)) for hour in range(min(found), max(found) + 1)]


class FleetPage(Door):
    """`FleetPage("127.0.0.1:8503", open_store)`; a store is opened for each request, in its own thread."""

    def __init__(self, address, open_store, units="us", clock=time.time):
        self.open_store, self.units, self.clock = open_store, units, clock
        source = resources.files("hil.remote.fleet").joinpath("page.html").read_text(encoding="utf-8")
        self.template = Environment(autoescape=True).from_string(source)
        super().__init__(address, "127.0.0.1:8503", "fleet page", self.get)

    def get(self, request):
        """Answer a GET."""
        pit = request.path.removeprefix("/pit/")
        if request.path == "/":
            code, body = 200, self._with(self.all_pits)
        elif request.path.startswith("/pit/") and topics.PIT.fullmatch(pit):
            code, body = 200, self._with(lambda store: self.one_pit(store, pit))
        else:
            code, body = 404, "no such page"
        data = body.encode()
        with contextlib.suppress(OSError):
            request.send_response(code)
            request.send_header("Content-Type", "text/html; charset=utf-8")
            request.send_header("Content-Length", str(len(data)))
            request.end_headers()
            request.wfile.write(data)

    def _with(self, work):
        store = self.open_store()
        try:
            return work(store)
        finally:
            store.close()

    def all_pits(self, store):
        """Return the page of the ranking."""
        now = self.clock()
        rows = [cells(row, now, self.units) for row in store.ranking(now, 500)]
        return self.template.render(title="Who floods first", when=words.moment(now), rows=rows)

    def one_pit(self, store, pit):
        """Return the page of a pit's month."""
        now = self.clock()
        statuses = store.statuses(pit, now - MONTH_S, now + HOUR_S)
        ends = (words.moment(statuses[0]["at"]), words.moment(statuses[-1]["at"])) if statuses else ("", "")
        rates = [{"at": s["at"], "rate": max(s["rate_1"] or 0, s["rate_2"] or 0) or None} for s in statuses]
        plots = [
            svg.curve("inflow", hourly(statuses, "inflow"), lambda v: words.flow(v, self.units), *ends),
            svg.curve("time to floor", hourly(statuses, "floor_min", min), lambda v: words.span(v), *ends),
            svg.curve("pump rate", hourly(rates, "rate"), lambda v: words.flow(v, self.units), *ends),
            svg.curve("battery", hourly(statuses, "battery", min), lambda v: f"{v / 1000:.1f} V", *ends),
        ]
        records = [
            {"at": words.moment(r["at"]), "text": said(r["kind"], r["body"])}
            for r in reversed(store.records(pit, now - MONTH_S, now + HOUR_S))
        ]
        return self.template.render(
            title=f"Pit {pit}: a month", when=words.moment(now), pit=pit, plots=plots, records=records
        )


def said(kind, body):
    """Return a stored record in words."""
    try:
        fields = json.loads(body)
    except ValueError:
        fields = {}
    name = str(fields.get("name", kind))
    text = {"board_silent": "the controller is silent"}.get(name, _TEXTS.get(name, name))
    if kind == "gap":
        return f"{fields.get('lost')} records were given up for want of room"
    return f"{text}: {fields['event']}" if "event" in fields else text
