"""A mosquitto broker of one's own on loopback, for the demo and the benchmark."""

import shutil
import socket
import subprocess
import time
from pathlib import Path

from host_sim.errors import InputError


def find_mosquitto():
    """Return the path of the mosquitto broker.  Raises InputError saying how to get it."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/opt/homebrew/sbin")
    if found is None:
        raise InputError("no mosquitto broker: apt-get update && apt-get install mosquitto", "mosquitto")
    return found


def free_port():
    """Return a TCP port on loopback that is free now."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        return listening.getsockname()[1]


def start_broker(folder, port, more=""):
    """Start mosquitto on loopback without a word to the log; return its process.  Raises InputError."""
    config = Path(folder) / "mosquitto.conf"
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nlog_type error\nuser root\n{more}", encoding="utf-8"
    )
    process = subprocess.Popen([find_mosquitto(), "-c", str(config)], stderr=subprocess.DEVNULL)
    until = time.monotonic() + 15.0
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), 1.0).close()
            return process
        except OSError:
            if process.poll() is not None:
                break
            time.sleep(0.05)
    process.kill()
    raise InputError("the broker did not start", "mosquitto")
