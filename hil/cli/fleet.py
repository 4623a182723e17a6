"""`sumpbench fleet`: many pits in one place."""

import time
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import UnitSystem

Where = Annotated[
    str, typer.Option("--store", help="SQLite file, or postgresql://user@host/name (password: PGPASSWORD).")
]
fleet_app = typer.Typer(invoke_without_command=True)


In = Annotated[UnitSystem, typer.Option(help="Units.")]
DEFAULT = "sumpbench-fleet.sqlite"


@fleet_app.callback()
def fleet(context: typer.Context, store: Where = DEFAULT, most: int = 40, units: In = UnitSystem.us):
    """List the pits, who floods first at the top: silent, time to floor, inflow over capacity, pumps out, battery."""
    if context.invoked_subcommand is not None:
        return
    from hil.remote.fleet.page import cells
    from hil.remote.fleet.store import Store
    from host_sim.report.console import console, table_of

    names = ("pit", "heard", "floor", "inflow", "share", "pumps_out", "battery", "mains", "alarms")
    heads = ("pit", "heard", "time to floor", "inflow", "of rate", "out", "battery", "mains", "alarms")
    table = table_of(None, [(head, "left", 6) for head in heads])
    base = Store(store)
    now = time.time()
    for row in base.ranking(now, most):
        shown = cells(row, now, units.value)
        table.add_row(*(shown[name] for name in names))
    base.close()
    console().print(table)


@fleet_app.command()
def collect(
    broker: Annotated[
        str, typer.Option(help="MQTT broker: mqtts://user@host:8883. Password: SUMPBENCH_MQTT_PASSWORD or ..._FILE.")
    ],
    store: Where = DEFAULT,
    page: Annotated[str, typer.Option(help='Where the page is served: host:port, "" nowhere.')] = "127.0.0.1:8503",
    ca: Annotated[Path | None, typer.Option(help="Certificate file that the broker is checked with.")] = None,
    keep_days: Annotated[float, typer.Option(min=1, help="Statuses older than this are removed.")] = 35.0,
    units: In = UnitSystem.us,
    seconds: Annotated[float | None, typer.Option(help="Stop after this many seconds; at Ctrl-C if left out.")] = None,
):
    """Store what all gateways on a broker publish, and serve the page."""
    from hil.remote.fleet.run import collect as work

    work(broker, store, page or None, ca, keep_days, units.value, seconds)


@fleet_app.command()
def parquet(
    month: Annotated[str, typer.Argument(help="Year and month in UTC, as in 2026-11.")],
    store: Where = DEFAULT,
    out: Annotated[Path, typer.Option(help="Folder for the file.")] = Path("sumpbench-fleet"),
):
    """Write a month of all pits as one Parquet file, for DuckDB or any reader of columns."""
    from hil.remote.fleet.parquet import export
    from hil.remote.fleet.store import Store

    base = Store(store)
    path, count = export(base, month, out)
    base.close()
    print(f"{path}: {count} statuses")


@fleet_app.command()
def benchmark(
    pits: Annotated[int, typer.Option(min=1, max=100000, help="How many pits.")] = 2000,
    store: Annotated[str | None, typer.Option(help="PostgreSQL to measure with; a new SQLite file otherwise.")] = None,
):
    """Measure on this machine: statuses a second through a broker into the store, and the time of the ranking."""
    from hil.remote.fleet.benchmark import run

    run(pits, store)


def add_to(app):
    """Put the commands into the command line."""
    app.add_typer(fleet_app, name="fleet")
