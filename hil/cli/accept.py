"""The commands `sumpbench accept`, `rehearse` and `procedures`."""

from pathlib import Path
from typing import Annotated

import typer

from hil.bench.verdict import FAIL, SKIPPED, VERDICTS
from hil.kits import select

CAUTION = (
    "Shock: procedures start pumps. Unplug both pumps, or lock out their circuits, before anything moves; no selector, "
    "no program and no idle pump is safe to touch. Flood: while the bench drives the inputs the controller does not "
    "see your pit: watch the water, and have another way to pump. Drowning: keep the pit covered. Battery gas: "
    "ventilate a charging battery, no sparks. Local codes and licensed trades decide."
)
LEFT_OUT = "not selected (--only)"
NOT_SHORT = "not in the short set that runs in real time"


def accept(
    virtual: Annotated[bool, typer.Option("--virtual", help="Simulated controller, faster than real time.")] = False,
    real_time: Annotated[bool, typer.Option("--real-time", help="The same in real time, short set.")] = False,
    emulated: Annotated[bool, typer.Option("--emulated", help="Emulated RP2040; needs --uf2.")] = False,
    uf2: Annotated[
        str | None, typer.Option(envvar="SUMPBENCH_HIL_UF2", help="MicroPython UF2 file for RPI_PICO.")
    ] = None,
    port: Annotated[str | None, typer.Option(help="Port of a real controller, or a pyserial URL.")] = None,
    rig_port: Annotated[str | None, typer.Option(help="Port of the rig wired to it.")] = None,
    forces: Annotated[bool, typer.Option("--forces", help="No rig: inputs forced over the link.")] = False,
    cords_unplugged: Annotated[
        bool, typer.Option("--cords-unplugged", help="With --forces: I have checked that both pumps are unplugged.")
    ] = False,
    board: Annotated[
        str,
        typer.Option(help="pico or esp32: the real controller's wiring (pico if omitted); with --virtual, offer only "
                     "the signals that this board has."),
    ] = "",
    expander: Annotated[bool, typer.Option("--expander", help="Virtual or emulated: the board with its I2C expander.")]
    = False,
    power: Annotated[
        str, typer.Option(help="How the rig cuts the controller's power: relay, run or none.")
    ] = "relay",
    coils_only: Annotated[
        bool,
        typer.Option("--coils-only", help="Only coils or dummy loads hang on the pump relays: they may be switched."),
    ] = False,
    only: Annotated[list[str] | None, typer.Option(help="Procedure to run; may be repeated.")] = None,
    allow_settings: Annotated[
        bool,
        typer.Option("--allow-settings", help="Procedures may change settings of a real controller and restore them."),
    ] = False,
    hose_test: Annotated[
        bool, typer.Option("--hose-test/--no-hose-test", help="Include the hose test.")
    ] = True,
    site: Annotated[Path | None, typer.Option(help="Site file with the expected values of the hose test.")] = None,
    seed: Annotated[int, typer.Option(help="Random seed.")] = 0,
    place: Annotated[str, typer.Option(help="Place, for the head of the record; else a blank.")] = "",
    customer: Annotated[str, typer.Option(help="Customer, for the head of the record; else a blank.")] = "",
    out: Annotated[Path, typer.Option(help="Folder for record.json and record.html.")] = Path("sumpbench-acceptance"),
):
    """Acceptance test of a controller: run every procedure and write a record."""
    from hil import record
    from hil.acceptance import hose_test as hose
    from hil.acceptance import procedure, runner
    from hil.bench import latency

    choice = select.Choice(
        virtual, real_time, emulated, uf2, port, rig_port, forces, cords_unplugged, board, power, seed, expander
    )
    select.check(choice)
    every, chosen = procedure.load(), procedure.load(only or ())
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
    made["place"], made["customer"] = place, customer
    names = {one.name for one in chosen}
    why_left_out = LEFT_OUT if only else NOT_SHORT
    made["left_out"] = [{"what": one.name, "why": why_left_out} for one in every if one.name not in names]
    if made["complete"]:
        why_not = "only single procedures selected (--only)" if only else "left out (--no-hose-test)"
        made["hose_test"], made["hose_test_why"] = hose.hose_test(
            virtual, port, hose_test and not only, site, out, typer.echo, why_not
        )
    else:
        made["hose_test"], made["hose_test_why"] = None, f"not reached: {made['why_incomplete']}"
    paths = record.write(made, out)
    _tell(made, paths)
    worst = runner.worst(made)
    if worst == SKIPPED:
        typer.echo("nothing was tested: every procedure was skipped")
    failed = worst in (FAIL, SKIPPED) or (made["hose_test"] or {}).get("verdict") == FAIL
    unusable = not made["complete"] and not made["procedures"]
    raise typer.Exit(2 if unusable else 1 if failed else 0)


def _tell(made, paths):
    verdicts = [entry["verdict"] for entry in made["procedures"]]
    counts = ", ".join(f"{verdicts.count(one)} {one}" for one in VERDICTS if one in verdicts)
    seconds = sum(entry["seconds_wall"] for entry in made["procedures"])
    simulated = sum(entry["seconds_bench"] for entry in made["procedures"])
    typer.echo(f"{len(verdicts)} procedures: {counts or 'none'}; {simulated:.0f} s of bench time in {seconds:.1f} s")
    if made["left_out"]:
        typer.echo(f"not tested: {len(made['left_out'])} other procedures")
    if not made["hardware"]:
        typer.echo("NO HARDWARE WAS TESTED: simulated controller, wiring and pit")
    if made["latency"]:
        found = made["latency"]
        typer.echo(
            f"contact to relay at the pins, less debounce: median {found['median_ms']:g} ms, "
            f"worst {found['worst_ms']:g} ms, {found['samples']} samples"
        )
    if not made["complete"]:
        typer.echo(f"INCOMPLETE: {made['why_incomplete']}")
    typer.echo(f"record: {' and '.join(str(path) for path in paths)}")


def rehearse(
    site: Annotated[str | None, typer.Argument(help="Site file or packaged scenario; the demo if omitted.")] = None,
    virtual: Annotated[bool, typer.Option("--virtual", help="Simulated controller, faster than real time.")] = False,
    emulated: Annotated[bool, typer.Option("--emulated", help="Emulated RP2040; needs --uf2.")] = False,
    uf2: Annotated[
        str | None, typer.Option(envvar="SUMPBENCH_HIL_UF2", help="MicroPython UF2 file for RPI_PICO.")
    ] = None,
    fault: Annotated[list[str] | None, typer.Option(help="Fault to add; may be repeated.")] = None,
    seed: Annotated[str | None, typer.Option(metavar="NUMBER", help="Random seed of noise and waves.")] = None,
    hours: Annotated[float | None, typer.Option(min=0.1, help="Only the first hours.")] = None,
):
    """Run a site's night on a board, the simulated pit at its pins, and compare its journal with the simulator's."""
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
    same = "identical, record for record" if found.passed else f"{len(found.differences)} differences"
    same += f"; {found.late} step{'' if found.late == 1 else 's'} one tick late" if found.late and found.passed else ""
    typer.echo(
        f"{plan.name}: {found.records} records of {found.lives} power-up{'' if found.lives == 1 else 's'} compared: "
        f"{same}; {found.seconds_board / 3600.0:g} h in {found.seconds_wall:.1f} s"
    )
    raise typer.Exit(0 if found.passed else 1)


def procedures(as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False):
    """List the acceptance procedures: what each proves and what it needs."""
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


