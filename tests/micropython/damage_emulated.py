"""The damage campaign on an emulated RP2040: the build for a Pico, damaged in the chip's own flash, all floats wet.

Each case is a power-up of real MicroPython in the memory that the chip has; pumps, horn and relay are read at its
pins.  Both pumps draw their rated current while their relays are on.
"""

import shutil

from hil.bench.bench import Bench
from hil.kits import wires
from hil.kits.emulated import flash
from hil.kits.emulated.kit import EmulatedKit
from host_sim.errors import InputError
from tests.micropython import damage_cases, failing
from tests.micropython import damage_rig as rig

STATION_MS = 10_000  # a station that runs answers on its link by then


class Chip:
    """An emulated Pico for many cases: `uf2` the path of MicroPython for RPI_PICO, `scratch` a folder for its images.

    Use as a context.  Raises InputError as `EmulatedKit` does.
    """

    def __init__(self, uf2, scratch):
        self.scratch = scratch
        self.kit = EmulatedKit(uf2)
        self.bench = Bench(self.kit)
        self.bench.values = list(self.kit.settings)
        self.bench.draw_normally()
        self.bench.water(*wires.FLOATS)
        self.image = scratch / "sound.img"
        self.image.write_bytes(self.kit.fresh)
        self.counted = None  # the image whose every statement counts, made when it is first asked for

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.kit.close()

    def flood(self, image, lasts_ms=rig.LIMIT_MS):
        """Power the chip up with this image and watch it (`damage_rig.Flood`)."""
        kit, found = self.kit, rig.Flood()
        kit.power(False)
        kit.fresh = image.read_bytes()
        began, lives = kit.now_ms(), len(kit.starts)

        def moved(edge):
            found.saw(edge.ms - began, sum(kit.read(name) << wires.WIRES[name].place for name in wires.OUTPUTS))

        kit.listeners.append(moved)
        kit.cold_start()
        kit.run_ms(lasts_ms)
        kit.listeners.remove(moved)
        found.relay = bool(kit.read("relay"))
        found.running = bool((kit.read("pump_1") or kit.read("pump_2")) and kit.read("horn"))
        found.lives = len(kit.starts) - lives
        found.said = bytes(kit.pico.output[-2000:]).decode("ascii", "replace")
        found.mode = "station" if self._answers() else "floats only"
        return found

    def _answers(self):
        # The last resort has no link.
        until = self.kit.now_ms() + STATION_MS
        while self.kit.now_ms() < until:
            try:
                return bool(self.kit.client().identify())
            except InputError:
                self.kit.run_ms(100)
        return False

    def damaged(self, damage):
        """Return what the chip does in a flood with a `damage_cases.Damage` done to its installation."""
        copy = self.scratch / "damaged.img"
        shutil.copy(self._counted() if damage.planted else self.image, copy)
        with rig.Files(copy) as files:
            damage.make(files)
        return self.flood(copy, failing.WATCHED_MS if damage.planted else rig.LIMIT_MS)

    def _counted(self):
        if self.counted is None:
            self.counted = self.scratch / "counted.img"
            files = flash.firmware_files(failing.counted_source(self.scratch, ("esp32", "posix")))
            files |= flash.settings_files(self.kit.settings)
            self.counted.write_bytes(flash.make_files(files))
        return self.counted


def campaign(chip, count, seed, kept, first=1):
    """Run `count` cases of a sample from number `first` on, each a line; return the cases without a pump.

    `kept` counts kinds of damage by what kept the pit.
    """
    lost = []
    names = damage_cases.names_of(chip.image)
    for number, damage in enumerate(damage_cases.sample(names, count, seed, first), first):
        found = chip.damaged(damage)
        good = damage.planted.kept(found) if damage.planted else found.good
        kept[damage.kind, found.mode if good else "NO PUMP"] += 1
        print(f"{number:3} {damage.kind}, {damage.words}: {found.words()}{'' if good else '  NO PUMP'}", flush=True)
        if not good:
            lost.append((damage, found))
    return lost
