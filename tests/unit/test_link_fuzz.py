"""Random and mutated frames: whatever comes, nothing breaks and an invalid frame changes nothing.

A part of the frames runs in CI; all of them with SUMPBENCH_FULL=1.
"""

import binascii
import os
import random

import pytest
from duplexsump.station import framing
from duplexsump.station import registers as r

from tests.station_rig import start

FRAMES = 1_000_000 if os.environ.get("SUMPBENCH_FULL") else 40_000
WRITES = (5, 6, 15, 16)


def crc_by_bits(data):
    """Return the Modbus CRC, worked out bit by bit: not the way the firmware does it."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return crc


def make_pdu(draw):
    """Return a PDU: often one that asks for something that exists, sometimes any bytes."""
    kind = draw.random()
    if kind < 0.15:
        return draw.randbytes(draw.randint(1, 20))
    function = draw.choice((1, 2, 3, 4, *WRITES, 7, 43))
    at = draw.choice((0, 1, 16, 32, 60, 115, 116, 120, 124, 130, 131, 200, 400, 1000, draw.randrange(65536)))
    if function in (5, 6):
        value = draw.choice((0, 0xFF00, 1, r.COMMIT_KEY, r.MAINTENANCE_KEY, r.RESET_KEY, draw.randrange(65536)))
        return bytes([function]) + at.to_bytes(2, "big") + value.to_bytes(2, "big")
    count = draw.choice((1, 2, 4, 9, 116, 117, 123, draw.randrange(130), draw.randrange(65536)))
    head = bytes([function]) + at.to_bytes(2, "big") + count.to_bytes(2, "big")
    if function in (15, 16):
        size = min(245, (count + 7) // 8 if function == 15 else 2 * count)
        size = max(0, size + draw.choice((0, 0, 0, 1, -1)))
        head += bytes([size & 255]) + bytes(draw.choice((0, 0, 0, 1, 255)) for _ in range(size))
    return head[:253]


def mutate(draw, frame):
    """Return a frame with a few bytes changed, lost, doubled or put in."""
    frame = bytearray(frame)
    for _ in range(draw.randint(1, 3)):
        place = draw.randrange(len(frame)) if frame else 0
        kind = draw.randrange(5)
        if kind == 0 and frame:
            frame[place] ^= 1 << draw.randrange(8)
        elif kind == 1:
            del frame[place : place + draw.randint(1, 4)]
        elif kind == 2:
            frame[place:place] = draw.randbytes(draw.randint(1, 4))
        elif kind == 3:
            frame[place:place] = frame[place : place + 6]
        else:
            del frame[place:]
    return bytes(frame)


def wrap(draw, pdu, ascii_):
    """Return a frame that carries a PDU, for this unit, another or all."""
    body = bytes([draw.choice((1, 1, 1, 1, 0, 2, 255))]) + pdu
    if ascii_:
        return b":" + (body + bytes([-sum(body) & 255])).hex().upper().encode() + b"\r\n"
    return body + crc_by_bits(body).to_bytes(2, "little")


def state(station):
    """Return everything that a write may change."""
    m = station.model
    return (
        tuple(m.staged), tuple(station.store.values), station.store.sequence, station.wish, station.command,
        station.force_mask, station.force_value, station.force_refresh, station.wall_s,
        m.window_segment, m.window_offset, tuple(station.controller.out), tuple(station.board.outputs),
    )  # fmt: skip


def sound_ascii(data):
    """Return the bodies of all frames in ASCII data that a receiver must accept."""
    found = []
    for piece in data.split(b":")[1:]:
        text, end, _ = piece.replace(b"\r", b"").partition(b"\n")
        if end and len(text) % 2 == 0 and text.upper() == text:
            try:
                body = binascii.unhexlify(text)
            except ValueError:
                continue
            if 3 <= len(body) <= 256 and sum(body) & 255 == 0:
                found.append(body)
    return found


def sound_rtu(data):
    """Return the body of RTU data if a receiver must accept it."""
    good = 4 <= len(data) <= 256 and crc_by_bits(data[:-2]).to_bytes(2, "little") == data[-2:]
    return [data] if good else []


def feed(port, wire, data, now):
    """Send data to a port, let silence follow, and return what it answered."""
    wire.answered.clear()
    wire.sent.extend(data)
    for step in range(len(data) // 64 + 1):
        port.serve(now + step)
    for step in range(12):
        port.serve(now + 100 + 10 * step)
        if port.out_at >= port.out_end and step > 1:
            break
    return bytes(wire.answered)


def answered_well(reply, ascii_):
    """Return whether a reply grants the request; an exception or silence does not."""
    if not reply:
        return False
    function = int(reply[3:5], 16) if ascii_ else reply[1]
    return function < 0x80


@pytest.mark.long
@pytest.mark.parametrize("ascii_", [True, False], ids=["ASCII", "RTU"])
def test_no_invalid_frame_changes_anything(tmp_path, ascii_):
    board, station = start(tmp_path / "pit")
    port = station.links[0 if ascii_ else 1]
    wire = board.usb if ascii_ else board.rs485
    draw = random.Random(20 + ascii_)
    granted = refused = silent = writes = 0
    now = 1000
    for number in range(FRAMES // 2):
        frame = wrap(draw, make_pdu(draw), ascii_)
        if draw.random() < 0.5:
            frame = mutate(draw, frame)
        elif draw.random() < 0.05:
            frame = draw.randbytes(draw.randint(1, 80))
        before = state(station)
        reply = feed(port, wire, frame, now)
        changed = state(station) != before
        sound = [body for body in (sound_ascii(frame) if ascii_ else sound_rtu(frame)) if body[0] in (0, 1)]
        if answered_well(reply, ascii_):
            granted += 1
            assert sound, (number, frame)
        elif reply:
            refused += 1
        else:
            silent += 1
        if changed:
            writes += 1
            assert any(body[1] in WRITES for body in sound), (number, frame)
            broadcast = any(body[0] == 0 for body in sound)
            # A refused commit forgets what was staged, and that only.
            forgotten = station.model.staged == station.store.values and state(station)[1:] == before[1:]
            fine = answered_well(reply, ascii_) or broadcast or len(sound) > 1 or (reply and forgotten)
            assert fine, (number, frame, reply)
        station.wish = 0
        station.command = 0
        if ascii_ and port.inside:
            port.serve(now)
            wire.sent.extend(b":\n")
            port.serve(now)
        now = (now + 400) & 0x3FFFFFFF
        if number % 200 == 0:
            station.once()
            board.rest(100)
    assert station.overruns == 0
    assert granted > FRAMES // 100
    assert refused > FRAMES // 50
    assert silent > FRAMES // 50
    assert writes > 20


def test_a_set_with_one_bad_value_changes_nothing_and_says_why(tmp_path):
    board, station = start(tmp_path / "pit")
    words = []
    for value in station.store.values:
        words += [value >> 16, value & 0xFFFF]
    words[1] = 50  # debounce = 50 ms
    before = state(station)

    def ask(at, words):
        data = b"".join(word.to_bytes(2, "big") for word in words)
        pdu = b"\x01" + bytes([16, at >> 8, at & 255, 0, len(words), len(data)]) + data
        return feed(station.links[1], board.rs485, pdu + crc_by_bits(pdu).to_bytes(2, "little"), 1000)

    for at in range(0, len(words), 120):
        assert ask(at, words[at : at + 120])[1] == 16
    assert ask(r.COMMIT_AT, [r.COMMIT_KEY])[1:3] == bytes([0x90, 3])
    assert state(station) == before
    text = bytes(station.model.refusal).split(b"\0")[0].decode()
    assert text == "debounce = 50: a whole number from 200 to 5000 ms"


def test_the_crc_table_agrees_with_the_crc_by_bits():
    draw = random.Random(7)
    for _ in range(300):
        data = draw.randbytes(draw.randint(0, 60))
        assert framing.crc16(data, 0, len(data)) == crc_by_bits(data)
