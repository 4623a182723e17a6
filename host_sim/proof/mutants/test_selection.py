"""Which test files are put to the mutants of which module: those of the clauses that the module serves.

The tests of the part itself come first: they build the one part and kill most
mutants in no time.  The clauses are put to what survives these, and the searches
and the timelines, which take seconds each, only to what survives the clauses.
"""

from pathlib import Path

_LEVEL = ("test_clause_l1_l2", "test_clause_l3_l4")
_BLIND = ("test_clause_l5_l7",)
_STARTS = ("test_clause_s1_s4", "test_clause_s5_s8")
_DRY = ("test_clause_r1_r2", "test_clause_r3_r4")
_PUMPS = (*_STARTS, *_DRY)
_PEOPLE = ("test_clause_m1_m4",)
_ALARMS = ("test_clause_a1_a3", "test_shelving")
_SUPPLY = ("test_clause_a4_a5",)
_RECORD = ("test_clause_j3_j4",)
_DUTY = ("test_clause_d1_d7",)
BY_MODULE = {
    "ticks": ("test_gate", *_PUMPS),
    "timers": ("test_gate", *_PUMPS, *_LEVEL),
    "contacts": _LEVEL,
    "belief": (*_LEVEL, *_BLIND, *_DRY),
    "demand": (*_DUTY, *_LEVEL, *_BLIND, *_DRY),
    "blind": (*_BLIND, *_LEVEL),
    "flood": _PUMPS,
    "pump": (*_PUMPS, *_PEOPLE, *_DUTY),
    "pair": (*_DUTY, *_PUMPS, *_PEOPLE, *_SUPPLY, *_BLIND),
    "gate": (*_STARTS, *_PEOPLE),
    "supply": (*_SUPPLY, *_PEOPLE, *_STARTS),
    "selector": (*_PEOPLE, *_DRY),
    "exercise": _DUTY,
    "transmitter": (*_BLIND, *_LEVEL, *_DRY),
    "buttons": (*_ALARMS, *_PEOPLE),
    "forces": _PEOPLE,
    "alarms": (*_ALARMS, *_PEOPLE, *_RECORD),
    "watch": (*_ALARMS, *_SUPPLY, *_DUTY, *_BLIND, *_PEOPLE, *_STARTS),
    "bands": (*_PEOPLE, *_SUPPLY, *_LEVEL, *_BLIND),
    "history": (*_RECORD, *_DUTY),
    "controller": (*_DUTY, *_BLIND, *_PUMPS, *_PEOPLE, *_SUPPLY, *_RECORD, *_LEVEL, *_ALARMS, "test_skipping"),
    "settings": (*_PEOPLE, *_STARTS),
}


SLOW = ("../proof/test_explore", "test_timeline_floats", "test_timeline_pumps", "test_timeline_power")


# The station's modules: its tests lie in tests/unit.  Those that start MicroPython see no mutant and are left out.
BY_STATION = {
    "fitting": (("test_board_fitting",),),
    "line": (("test_link_line",),),
    "health": (("test_station_health",), ("test_station_run",)),
    "framing": (("test_station_framing",), ("test_link_frames",)),
    "modbus": (("test_station_modbus",), ("test_link_frames",)),
    "codec": (("test_station_codec",), ("test_station_store",)),
    "store": (("test_station_store",), ("test_board_fitting", "test_link_frames")),
    "checksum": (("test_station_checksum",), ("test_station_store",)),
    "journal": (("test_station_journal",), ("test_station_store",)),
    "recorder": (("test_station_recorder",), ("test_station_store",)),
    "registers": (("test_station_registers", "test_link_frames"),),
    "link": (("test_station_link",), ("test_link_frames",), ("test_link_line", "test_board_fitting", "test_link_fuzz")),
    "loop": (("test_station_loop",), ("test_station_heap", "test_station_store"), ("test_link_line",)),
    "run": (("test_station_run",), ("test_link_line",)),
    "minimal": (("test_station_minimal_pins", "test_station_minimal_rule", "test_station_minimal_bench"),
                ("test_station_minimal",)),
}


# The boards, their pins stand-ins.
BY_BOARD = {
    "wired": (("test_board_wired", "test_board_pins"), ("test_board_hardware", "test_board_expander")),
    "expander": (("test_board_expander",),),
    "pico": (("test_board_wired", "test_board_pins"),),
    "esp32": (("test_board_wired", "test_board_pins"),),
    "stream": (("test_board_pins",),),
    "hardware": (("test_board_hardware",),),
}
FAMILIES = {"station": BY_STATION, "boards": BY_BOARD}


def stages(module, root="tests", slow=False):
    """Return the lists of test files for a module, each list for what survives the one before; no empty list."""
    family, dot, name = module.partition(".")
    if dot:
        names = FAMILIES[family][name]
        return [[Path(root) / "unit" / f"{name}.py" for name in stage] for stage in names]
    folder = Path(root) / "control"
    own = [folder / f"test_{module}.py", *sorted(folder.glob(f"test_{module}_*.py"))]
    own += [folder / "test_controller_record.py"]  # each part as built, and in a snapshot
    clauses = [folder / f"{name}.py" for name in BY_MODULE[module]]
    late = [folder / f"{name}.py" for name in SLOW] if slow else []
    found = [[path for path in dict.fromkeys(stage) if path.exists()] for stage in (own, clauses, late)]
    return [stage for stage in found if stage]
