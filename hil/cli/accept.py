"""The commands `sumpbench accept`, `rehearse` and `procedures`."""

from pathlib import Path
from typing import Annotated

import typer

from hil.bench.verdict import FAIL, SKIPPED, VERDICTS
from hil.kits import select

CAUTION = (
    "Shock: procedures start pumps. Before you touch a pump or its wiring, unplug it or lock out its circuit; "
    "a selector, this program or a dark pump is no protection. Flood: while the bench drives the inputs the controller "
    "does not see your pit: watch the water, and have another way to pump. "
    "Keep the pit covered: people drown in open pits. Let a charging battery's gas out, and no spark near it. "
    "Local codes and licensed trades decide."
)


def accept(
    virtual: Annotated[bool, typer.Option("--virtual", help="The virtual board, in lockstep.")] = False,
    real_time: Annotated[bool, typer.Option("--real-time", help="The virtual board in real time.")] = False,
    emulated: Annotated[bool, typer.Option("--emulated", help="The emulated RP2040; needs --uf2.")] = False,
    uf2: Annotated[
        str | None, typer.Option(envvar="SUMPBENCH_HIL_UF2", help="MicroPython for RPI_PICO, as downloaded.")
    ] = None,
    port: Annotated[str | None, typer.Option(help="Port of a real controller; pyserial's URLs may be given.")] = None,
    rig_port: Annotated[str | None, typer.Option(help="Port of the rig that is wired to it.")] = None,
    forces: Annotated[bool, typer.Option("--forces", help="No rig: force inputs over the link, jumper made.")] = False,
    cords_unplugged: Annotated[
        bool, typer.Option("--cords-unplugged", help="With --forces: both pumps' cords are unplugged, I have looked.")
    ] = False,
    board: Annotated[str, typer.Option(help="Which wiring table the real controller has.")] = "pico",
    power: Annotated[
        str, typer.Option(help="What the rig has in the controller's supply: relay, run or none.")
    ] = "relay",
    coils_only: Annotated[
        bool, typer.Option("--coils-only", help="The relays switch nothing but coils: the self-test may move them.")
    ] = False,
    only: Annotated[list[str] | None, typer.Option(help="A procedure to run; may be given again.")] = None,
    allow_settings: Annotated[
        bool, typer.Option("--allow-settings", help="Let procedures change settings of a real board, and back.")
    ] = False,
    hose_test: Annotated[
        bool, typer.Option("--hose-test/--no-hose-test", help="Whether the hose test belongs to this acceptance.")
    ] = True,
    site: Annotated[Path | None, typer.Option(help="Site file whose sizing the hose test is held against.")] = None,
    seed: Annotated[int, typer.Option(help="Seed of whatever is drawn.")] = 0,
    out: Annotated[Path, typer.Option(help="Folder for record.json and record.html.")] = Path("sumpbench-acceptance"),
):
    """Prove a controller: run every procedure on a board and leave a record."""
    from hil import record
    from hil.acceptance import hose_test as hose
    from hil.acceptance import procedure, runner
    from hil.bench import latency

    choice = select.Choice(
        virtual, real_time, emulated, uf2, port, rig_port, forces, cords_unplugged, board, power, seed
    )
    select.check(choice)
    chosen = procedure.load(only or ())
    if real_time and not only:
        chosen = [one for one in chosen if one.real_time]
    record.check(out)
    if port:
        typer.echo(CAUTION)
        for one in chosen:
            if one.caution:
                typer.echo(f"{one.name}: {one.caution}")
    kit = select.open_kit(choice)
    made = runner.run(kit, chosen, typer.echo, allow_settings, latency.measure, coils_only)
    if made["complete"]:
        why_not = "only single procedures were asked for" if only else "left out by --no-hose-test"
        made["hose_test"], made["hose_test_why"] = hose.hose_test(
            virtual, port, hose_test and not only, site, out, typer.echo, why_not
        )
    else:
        made["hose_test"], made["hose_test_why"] = None, f"not reached: {made['why_incomplete']}"
    paths = record.write(made, out)
    _tell(made, paths)
    worst = runner.worst(made)
    if worst == SKIPPED:
        typer.echo("nothing was proved: every procedure was skipped")
    failed = worst in (FAIL, SKIPPED) or (made["hose_test"] or {}).get("verdict") == FAIL
    unusable = not made["complete"] and not made["procedures"]
    raise typer.Exit(2 if unusable else 1 if failed else 0)


def _tell(made, paths):
    verdicts = [entry["verdict"] for entry in made["procedures"]]
    counts = ", ".join(f"{verdicts.count(one)} {one}" for one in VERDICTS if one in verdicts)
    seconds = sum(entry["seconds_wall"] for entry in made["procedures"])
    simulated = sum(entry["seconds_bench"] for entry in made["procedures"])
    typer.echo(f"{len(verdicts)} procedures: {counts or 'none'}; {simulated:.0f} s on the bench in {seconds:.1f} s")
    if made["latency"]:
        found = made["latency"]
        typer.echo(
            f"from contact to relay at the pins, debounce subtracted: median {found['median_ms']:g} ms, "
            f"worst {found['worst_ms']:g} ms, {found['samples']} times"
        )
    if not made["complete"]:
        typer.echo(f"INCOMPLETE: {made['why_incomplete']}")
    typer.echo(f"record: {' and '.join(str(path) for path in paths)}")


def rehearse(
    site: Annotated[str | None, typer.Argument(help="A site file or packaged scenario; the demo if left out.")] = None,
    virtual: Annotated[bool, typer.Option("--virtual", help="The virtual board, in lockstep.")] = False,
    emulated: Annotated[bool, typer.Option("--emulated", help="The emulated RP2040; needs --uf2.")] = False,
    uf2: Annotated[
        str | None, typer.Option(envvar="SUMPBENCH_HIL_UF2", help="MicroPython for RPI_PICO, as downloaded.")
    ] = None,
    fault: Annotated[list[str] | None, typer.Option(help="A fault to add; may be given again.")] = None,
    seed: Annotated[str | None, typer.Option(metavar="NUMBER", help="Seed of noise and waves.")] = None,
    hours: Annotated[float | None, typer.Option(min=0.1, help="Only so much of the night.")] = None,
):
    """Take a board through a site's night, the simulated pit at its pins: is its journal the simulator's?"""
    from dataclasses import replace

    from hil.rehearsal import rehearsal
    from host_sim.site.chosen import read

    plan, faults, given = read(site, fault or [], seed)
    plan = plan if hours is None else replace(plan, duration_s=min(plan.duration_s, hours * 3600.0))
    choice = select.Choice(virtual=virtual, emulated=emulated, uf2=uf2)
    with select.open_kit(choice, plan.settings) as kit:
        found = rehearsal.rehearse(kit, plan, faults, given, typer.echo)
    for line in found.differences[: rehearsal.MOST]:
        typer.echo(f"differs: {line}")
    same = "the same, record for record" if found.passed else f"{len(found.differences)} differences"
    typer.echo(
        f"{plan.name}: {found.records} records of {found.lives} {'life' if found.lives == 1 else 'lives'} compared: "
        f"{same}; {found.seconds_board / 3600.0:g} h in {found.seconds_wall:.1f} s"
    )
    raise typer.Exit(0 if found.passed else 1)


def procedures(as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False):
    """List the procedures of the acceptance run: what each proves and what it needs."""
    import json

    from hil.acceptance import procedure
    from host_sim.report.console import console, table_of

    found = procedure.load()
    if as_json:
        fields = ("name", "purpose", "clauses", "needs", "real_time", "caution")
        print(json.dumps([{name: getattr(one, name) for name in fields} for one in found], indent=1))
        return
    columns = (("procedure", "left", 18), ("what it proves", "left", 50), ("clauses", "left", 9), ("needs", "left", 20))
    table = table_of(f"{len(found)} procedures", columns)
    for one in found:
        table.add_row(one.name, one.purpose, ", ".join(one.clauses), ", ".join(one.needs))
    screen = console()
    screen.print(table)
    screen.print("\nCautions", style="bold")
    screen.print(CAUTION)
    for one in found:
        if one.caution:
            screen.print(f"- {one.name}: {one.caution}")


def add_to(app):
    """Put the commands into the command line."""
    app.command()(accept)
    app.command()(rehearse)
    app.command()(procedures)


