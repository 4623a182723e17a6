"""Runs procedures on a kit, one after another, each from a fresh start, and keeps the record."""

import contextlib
import time
from datetime import datetime

from hil.bench.bench import Bench
from hil.bench.verdict import BROKEN_OFF, FAIL, SKIPPED, Failed
from hil.kits.base import Missing, Vanished
from host_sim.errors import InputError


def run(kit, procedures, progress=None, allow_settings=False, latency=None, coils_only=False):
    """Run `procedures` on `kit` and return the record, a dict of plain data.

    `progress(text)` gets the start and the verdict of each.  A procedure whose kit
    lacks something is skipped with the reason; a board that goes away interrupts
    the run: the record then has "complete" False and the reason.  `latency(bench)`,
    where given, measures the delay from contact to relay after the procedures.
    With a rig every wire is proved first; `coils_only` lets the pump relays be
    switched in that.  The outputs are dropped at the end in every case.
    """
    progress = progress or (lambda text: None)
    bench = Bench(kit, allow_settings)
    record = {
        "kind": "acceptance",
        "when": datetime.now().astimezone().isoformat(timespec="seconds"),
        "hardware": kit.hardware,
        "kit": {},
        "wiring": [],
        "latency": None,
        "latency_why": "",
        "complete": True,
        "why_incomplete": "",
        "procedures": [],
    }
    try:
        record["wiring"] = kit.prove(progress, coils_only)
        _describe(record, kit, bench)
        for procedure in procedures:
            entry = carry_out(bench, procedure, progress)
            record["procedures"].append(entry)
            if entry["verdict"] == BROKEN_OFF:
                record["complete"], record["why_incomplete"] = False, entry["why"]
                break
        if record["complete"] and latency is not None:
            _time_it(record, bench, latency)
    except InputError as error:
        record["complete"], record["why_incomplete"] = False, "; ".join(error.problems)
    except KeyboardInterrupt:
        record["complete"], record["why_incomplete"] = False, "stopped by the operator"
    finally:
        with contextlib.suppress(InputError, OSError):
            record["log"] = kit.log()
        with contextlib.suppress(InputError, OSError):
            bench.close()
    return record


def _time_it(record, bench, latency):
    # What cannot be measured on this kit is no fault of the board.
    bench.reset()
    try:
        record["latency"] = latency(bench)
    except Missing as missing:
        record["latency_why"] = "; ".join(missing.problems)
    except Failed as failed:
        record["latency_why"] = str(failed)


def _describe(record, kit, bench):
    bench.reset()
    record["kit"] = {"place": kit.place, **kit.describe(), "settings_values": list(bench.values)}


def carry_out(bench, procedure, progress=lambda text: None):
    """Reset the bench, carry one procedure out, return its entry of the record (plain data)."""
    progress(f"{procedure.name}: {procedure.purpose}")
    kit = bench.kit
    began_s = time.perf_counter()
    verdict, why, began_ms = _attempt(bench, procedure)
    entry = {
        "name": procedure.name,
        "purpose": procedure.purpose,
        "clauses": list(procedure.clauses),
        "verdict": verdict,
        "why": why,
        "measurements": [item.as_dict() for item in bench.measurements],
        "checks": [item.as_dict() for item in bench.checks],
        "notes": list(bench.notes),
        "seconds_bench": round((kit.now_ms() - began_ms) / 1000.0, 3),
        "seconds_wall": round(time.perf_counter() - began_s, 3),
    }
    progress(f"  {verdict}{': ' + why if why else ''}")
    return entry


def _attempt(bench, procedure):
    # (verdict, why, when it began).  A board that went away is distinguished from a procedure that failed.
    bench.clear()
    began_ms = bench.kit.now_ms()
    try:
        for need in procedure.needs:
            bench.kit.need(need)
        bench.reset()
        began_ms = bench.kit.now_ms()
        procedure.run(bench)
    except Missing as missing:
        return SKIPPED, "; ".join(missing.problems), began_ms
    except Failed as failed:
        return FAIL, str(failed), began_ms
    except Vanished as gone:
        return BROKEN_OFF, "; ".join(gone.problems), began_ms
    except InputError as error:
        return (FAIL if _answers(bench) else BROKEN_OFF), "; ".join(error.problems), began_ms
    if not bench.measurements and not bench.checks:
        return FAIL, "nothing was measured or checked", began_ms
    return bench.verdict(), "", began_ms


def _answers(bench):
    # A power that the procedure has cut comes back with the reset.
    try:
        bench.restart()
    except (InputError, OSError):
        return False
    return True


def worst(record):
    """Return "fail" where anything failed or the run is incomplete, else "marginal" or "pass", "skipped" for no run."""
    verdicts = [entry["verdict"] for entry in record["procedures"]]
    if not record["complete"] or FAIL in verdicts or BROKEN_OFF in verdicts:
        return FAIL
    for verdict in ("marginal", "pass"):
        if verdict in verdicts:
            return verdict
    return SKIPPED
