"""The firmware's checksum and its manifest on a folder of small files, against `zlib` and the text as described."""

import zlib

import pytest
from duplexsump.station import checksum as c

FILES = {"b.py": b"print(2)\n", "a.mpy": b"M\x06\0\x1f", "note.txt": b"no part of it", "sub/z.py": b"",
         "sub/deep/y.mpy": bytes(range(256)) * 5, "built.pyc": b"nor this",
         "station/minimal.py": b"pass\n"}  # fmt: skip
ORDER = ("/a.mpy", "/b.py", "/station/minimal.py", "/sub/deep/y.mpy", "/sub/z.py")


@pytest.fixture
def folder(tmp_path):
    for name, data in FILES.items():
        path = tmp_path / "lib" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        path.chmod(0o755)  # whoever may run it, a file is no folder
    (tmp_path / "main.py").write_bytes(b"begin()\n")
    return tmp_path / "lib"


def crc_of(names):
    """Return the CRC-32 over names and bytes of files, one after the other."""
    crc = 0
    for name in names:
        crc = zlib.crc32(FILES[name[1:]], zlib.crc32(name.encode(), crc))
    return crc


@pytest.mark.parametrize("size", [0, 1, 511, 512, 513, 1024, 5000])
@pytest.mark.parametrize("begun", [0, 0x12345678])
def test_the_checksum_of_a_file_goes_on_from_what_was_begun(tmp_path, size, begun):
    data = bytes(i * 7 & 255 for i in range(size))
    (tmp_path / "x").write_bytes(data)
    assert c.file_checksum(str(tmp_path / "x"), begun) == zlib.crc32(data, begun)
    assert c.file_checksum(str(tmp_path / "x")) == zlib.crc32(data)


def test_the_checksum_of_a_folder_is_over_names_and_bytes_of_its_python_files_in_order(folder):
    assert c.files_checksum(str(folder)) == crc_of(ORDER) == c.firmware_checksum(str(folder))


def test_a_build_says_what_it_was_built_from_while_its_own_sum_holds(folder):
    own = crc_of(ORDER)
    (folder / c.BUILT_FROM).write_text(f"cafe0001 {own:08x}\n")
    assert c.firmware_checksum(str(folder)) == c.firmware_checksum(str(folder), True) == 0xCAFE0001
    (folder / c.BUILT_FROM).write_text(f"cafe0001 {own ^ 1:08x}\n")
    assert c.firmware_checksum(str(folder)) == own
    assert c.firmware_checksum(str(folder), True) == 0xCAFE0001, "it has just been read"


@pytest.mark.parametrize("text", ["", "12345678", "12345678 9abcdef0 1", "x y", " "])
def test_a_word_too_few_or_too_many_says_nothing(folder, text):
    (folder / c.BUILT_FROM).write_text(text)
    assert c.firmware_checksum(str(folder)) == c.firmware_checksum(str(folder), True) == crc_of(ORDER)


def rows(folder):
    return [f"{zlib.crc32(FILES[name[1:]]):08x} {name}\n" for name in ORDER]


def install(folder):
    """Write the manifest of a folder; return its Manifest, with the root's file where this machine has it."""
    text = c.manifest_of(str(folder), (str(folder.parent / "main.py"),))
    (folder / c.MANIFEST).write_text(text)
    return c.Manifest(str(folder)), text


def at_home(made, folder):
    # The root is another here.
    made.body = made.body.replace(" //main.py", f" /{folder.parent}/main.py")
    return made


def test_a_manifest_has_a_row_for_each_file_and_a_seal(folder):
    made, text = install(folder)
    body = "".join(rows(folder)) + f"{zlib.crc32(b'begin()' + bytes([10])):08x} //main.py\n"
    assert text == body + f"sum {zlib.crc32(body.encode()):08x}\n"
    assert (made.body, made.note, made.at, made.sound) == (body, "", 0, False)


def test_what_is_as_it_was_installed_is_sound(folder):
    made = at_home(install(folder)[0], folder)
    assert made.damaged() == [] and made.sound
    assert [made.next() for _ in range(14)] == [""] * 14


@pytest.mark.parametrize("name", [*ORDER, "//main.py"])
@pytest.mark.parametrize("how", ["gone", "longer", "bit"])
def test_each_file_that_is_not_is_named_at_its_turn_and_in_the_whole(folder, name, how):
    made = at_home(install(folder)[0], folder)
    path = folder.parent / "main.py" if name == "//main.py" else folder / name[1:]
    data = path.read_bytes()
    path.unlink()
    if how != "gone":
        path.write_bytes(data + b"\0" if how == "longer" or not data else bytes([data[0] ^ 4]) + data[1:])
    told = f"/{folder.parent}/main.py" if name == "//main.py" else name
    found = made.damaged()
    assert found == [told] and not made.sound
    turns = [made.next() for _ in range(12)]
    place = [*ORDER, "//main.py"].index(name)
    assert turns == ["" if turn % 6 != place else told for turn in range(12)]
    # Asked for the whole in mid-turn, it begins at the first again.
    made.next()
    assert made.damaged() == [told]


def test_without_a_manifest_nothing_is_known(folder):
    made = c.Manifest(str(folder))
    assert (made.body, made.note) == ("", "no manifest: what is installed cannot be checked")
    assert (made.damaged(), made.sound, made.next()) == ([], False, "")


@pytest.mark.parametrize("spoil", [lambda text: text[:-1] + "0", lambda text: "x" + text, lambda text: "",
                                   lambda text: "sum", lambda text: text.replace("sum", "som"),
                                   lambda text: text[:-10] + "zz\n", lambda text: text + "\xff"])  # fmt: skip
def test_a_manifest_that_does_not_hold_is_told_and_condemns_nothing(folder, spoil):
    text = install(folder)[1]
    (folder / c.MANIFEST).write_bytes(spoil(text).encode("latin-1"))
    made = c.Manifest(str(folder))
    assert (made.body, made.note) == ("", "the manifest is damaged: what is installed cannot be checked")
    assert (made.damaged(), made.sound, made.next()) == ([], False, "")


def test_what_a_pit_does_without_is_not_needed():
    spare = ["/station/minimal.py", "/station/checksum.mpy", "//boot.py", "//main.py"]
    assert c.needed([*spare, "/station/run.mpy", "/boards/pico.mpy", "//other.py"]) == [
        "/station/run.mpy", "/boards/pico.mpy", "//other.py"]  # fmt: skip
    assert c.needed([]) == []
    assert c.needed(["/station/minimal.old.py"]) == ["/station/minimal.old.py"], "only the last dot parts"
