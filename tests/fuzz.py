"""Spoilt inputs of every kind, seeded: each is answered, or refused with a message, and then nothing is written.

    python tests/fuzz.py [--kinds part readings …] [--cases 10000] [--seed 1]

Prints a line for each case that ended otherwise, with the seed that makes it again. ``test_fuzz.py`` runs a bounded
share of it and the seeds that once found a fault.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import io
import json
import random
import re
import signal
import struct
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import small_part

#: Longest time that one small file may take, s.
LONGEST = 30
#: Cells, numbers and names that readers stumble over.
TOKENS = (
    "nan", "inf", "-inf", "1e999", "-0", "1e-320", "999999999999999999999", "0x10", "1_0", "١٢",
    "", " ", "\x00", "\ufeff",
    "=1+1", "\u202e", "\x1b[2J", "null", "true", "[]", "{}", "[[[[[[[[", '"', "'", "(", ")", "%", "#",
    ";", ",", "\r", "\n", "\t", "../../x", "é", "G2", "G91", "Z-1e9", "N", "<!ENTITY x SYSTEM 'file:///'>",
    "-" * 50, "9" * 400,
)  # fmt: skip
VALUES = (
    None,
    True,
    -1,
    0,
    1e308,
    1e-308,
    -0.0,
    2**70,
    "",
    "x" * 300,
    "\x00",
    [],
    {},
    [[]],
    [None],
    {"a": 1},
    "nan",
    [1, 2],
)


class TookTooLong(BaseException):
    """A case that did not end; no handler of errors may take it."""


def spoil_text(data: bytes, rng: random.Random) -> bytes:
    """Cut, double, swap, or put odd words in, at places of chance; numbers are met more often than the rest."""
    text = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 3, 8))):
        at, word = rng.randrange(len(text) + 1), rng.choice(TOKENS).encode("utf-8", "replace")
        end = min(len(text), at + rng.choice((1, 2, 5, 20, 200)))
        kind = rng.randrange(7)
        if kind == 0:
            del text[at:end]
        elif kind == 1:
            text[at:at] = text[at:end]
        elif kind == 2:
            text[at:at] = word
        elif kind == 3:
            text[at:end] = bytes(rng.randrange(256) for _ in range(end - at))
        elif kind == 4:
            del text[at:]
        elif numbers := list(re.finditer(rb"-?\d+(\.\d+)?", text[at : at + 4000])):
            found = rng.choice(numbers)
            text[at + found.start() : at + found.end()] = word
    return bytes(text)


def spoil_json(data: bytes, rng: random.Random) -> bytes:
    """Put an odd value at a place of chance in the document, or spoil its text."""
    if rng.random() < 0.3:
        return spoil_text(data, rng)
    document = json.loads(data)
    for _ in range(rng.choice((1, 1, 2))):
        node = document
        while isinstance(node, dict | list) and node:
            key = rng.choice(list(node)) if isinstance(node, dict) else rng.randrange(len(node))
            if rng.random() < 0.35 or not isinstance(node[key], dict | list):
                if rng.random() < 0.2:
                    del node[key]
                else:
                    node[key] = copy.deepcopy(rng.choice(VALUES))
                break
            node = node[key]
    return json.dumps(document).encode()


@cache
def _solid() -> object:
    import trimesh
    from cad_plates import box

    mesh = (box(0, 0, 0, 200, 100, 30) - box(10, 10, 2, 90, 90, 40) - box(110, 10, 3, 190, 90, 40)).to_mesh()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts)


@cache
def _mesh_file(kind: str) -> bytes:
    data = _solid().export(file_type=kind)  # type: ignore[attr-defined]
    return data.encode() if isinstance(data, str) else data


@cache
def _drawing() -> bytes:
    import ezdxf

    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    space, block = document.modelspace(), document.blocks.new("POCKET")
    ring = [(10, 10, 0), (90, 10, 0.4), (90, 90, 0), (10, 90, 0)]
    block.add_lwpolyline(ring, format="xyb", close=True, dxfattribs={"layer": "FLOOR Z2.0 WEB1.5"})
    space.add_blockref("POCKET", (0, 0))
    space.add_lwpolyline([(0, 0), (200, 0), (200, 100), (0, 100)], close=True, dxfattribs={"layer": "OUTLINE"})
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def spoil_packed(data: bytes, rng: random.Random) -> bytes:
    """Spoil an entry of a packed file, repeat it, or let it swell to a bomb."""
    if rng.random() < 0.3:
        return spoil_text(data, rng)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        chosen = rng.choice(names)
        for name in names:
            body = old.read(name)
            if name == chosen:
                body = spoil_text(body, rng) if rng.random() < 0.7 else body[:200] + b" " * 50_000_000 + body[200:]
            new.writestr(name, body)
    return out.getvalue()


def spoil_glb(data: bytes, rng: random.Random) -> bytes:
    """Spoil the JSON of a binary glTF (Khronos glTF 2.0, 4.4), buffers elsewhere among it."""
    if rng.random() < 0.3:
        return spoil_text(data, rng)
    size = struct.unpack("<I", data[12:16])[0]
    text = data[20 : 20 + size]
    if rng.random() < 0.3:
        document = json.loads(text)
        document["buffers"][0]["uri"] = rng.choice(
            ("http://127.0.0.1:9/x.bin", "file:///etc/passwd", "../x.bin", "data:,")
        )
        text = json.dumps(document).encode()
    else:
        text = spoil_json(text, rng)
    text += b" " * (-len(text) % 4)
    rest = data[20 + size :]
    return (
        data[:8]
        + struct.pack("<I", 20 + len(text) + len(rest))
        + struct.pack("<I", len(text))
        + data[16:20]
        + text
        + rest
    )


PART = json.dumps(small_part.document()).encode()
READINGS = small_part.readings_csv().encode()
BLOCKS = b"true_mm,reading_mm\n1.000,1.010\n2.000,2.012\n5.000,5.030\n"
DATUMS = b"x_mm,y_mm,z_mm,measured_x_mm,measured_y_mm,measured_z_mm\n0,0,0,0,0,0\n400,0,0,400,0,0\n0,400,0,0,400,0\n"
STEP = (
    b"ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
    b"FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n#1=CARTESIAN_POINT('',(0.,0.,0.));\n"
    b"#2=DIRECTION('',(0.,0.,1.));\n#3=AXIS2_PLACEMENT_3D('',#1,#2,#2);\n#4=PLANE('',#3);\nENDSEC;\nEND-ISO-10303-21;\n"
)
PROGRAMME = b"%\nO7\nG21 G90 G17\nG0 Z90.\n" + b"".join(
    b"G0 X%d. Y%d.\nG1 Z2. F500.\nX%d.\nG3 X%d. Y%d. R10.\nG0 Z90.\n" % (x, y, x + 20, x + 30, y + 10, )
    for x in (50, 250) for y in (50, 250)
) + b"M30\n%\n"  # fmt: skip


@cache
def _job() -> Path:
    """A whole job of the four-pocket part, made once in a folder of its own."""
    from floorfit.cli import main

    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    (folder / "part.json").write_bytes(PART)
    (folder / "readings.csv").write_bytes(READINGS)
    with _undrawn(), contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        main(["correct", str(folder / "part.json"), str(folder / "readings.csv"), "-o", str(folder / "job")])
        (folder / "blocks.csv").write_bytes(BLOCKS)
        main(["calibrate", str(folder / "blocks.csv"), "-o", str(folder / "gauge.json")])
    return folder


@contextlib.contextmanager
def _undrawn() -> Iterator[None]:
    """Pictures take a second a case and read nothing that the tables do not."""
    import floorfit.folder

    write = floorfit.folder.write_report
    floorfit.folder.write_report = lambda *_, **__: None  # type: ignore[assignment]
    try:
        yield
    finally:
        floorfit.folder.write_report = write


def _record() -> bytes:
    """The record without its seal, which would refuse every change before it is read."""
    document = json.loads((_job() / "job" / "record.json").read_bytes())
    return json.dumps({**document, "seal": None, "map": None}).encode()


#: What a kind of input is made of, how it is spoilt, its file's name, and the command that reads it.
Spoiler = Callable[[bytes, random.Random], bytes]
Kind = tuple[Callable[[], bytes], Spoiler, str, Callable[[str, str], list[str]]]


def _mesh(ending: str) -> Kind:
    spoil = {"glb": spoil_glb, "3mf": spoil_packed}.get(ending, spoil_text)
    return (lambda: _mesh_file(ending), spoil, f"x.{ending}", lambda x, out: ["extract", x, "--units", "mm", "-o", out])


def _given(*words: str) -> list[str]:
    return [str(_job() / word) for word in words]


KINDS: dict[str, Kind] = {
    "part": (lambda: PART, spoil_json, "x.json", lambda x, out: ["correct", x, *_given("readings.csv"), "-o", out]),
    "part to plan": (lambda: PART, spoil_json, "x.json", lambda x, out: ["plan", x, "-o", out, "--readings", "12"]),
    "readings": (lambda: READINGS, spoil_text, "x.csv", lambda x, out: ["correct", *_given("part.json"), x, "-o", out]),
    "blocks": (lambda: BLOCKS, spoil_text, "x.csv", lambda x, out: ["calibrate", x, "-o", out]),
    "gauge": (
        lambda: (_job() / "gauge.json").read_bytes(), spoil_json, "x.json",
        lambda x, out: ["correct", *_given("part.json", "readings.csv"), "--gauge", x, "-o", out],
    ),
    "datums": (
        lambda: DATUMS, spoil_text, "x.csv",
        lambda x, out: ["correct", *_given("part.json", "readings.csv"), "--datums", x, "-o", out],
    ),
    "record to apply": (
        _record, spoil_json, "job/record.json", lambda x, out: ["apply", x, *_given("finish.nc"), "-o", out],
    ),
    "record to verify": (
        _record, spoil_json, "job/record.json", lambda x, out: ["verify", x, *_given("readings.csv"), "-o", out],
    ),
    "record to series": (_record, spoil_json, "job/record.json", lambda x, out: ["series", x, "-o", out]),
    "record to mesh": (_record, spoil_json, "job/record.json", lambda x, out: ["report", x, "--mesh", out + ".ply"]),
    "finished": (lambda: READINGS, spoil_text, "x.csv", lambda x, out: ["verify", *_given("job"), x, "-o", out]),
    "programme": (lambda: PROGRAMME, spoil_text, "x.nc", lambda x, out: ["apply", *_given("job"), x, "-o", out]),
    "template": (
        lambda: b'#{{ 500 + number }}={{ "%.4f" | format(offset_mm) }} ({{ id }})\n', spoil_text, "x.txt",
        lambda x, out: ["apply", *_given("job"), "--lines", x, "-o", out],
    ),
    **{ending: _mesh(ending) for ending in ("stl", "obj", "ply", "glb", "3mf")},
    "dxf": (_drawing, spoil_text, "x.dxf", lambda x, out: ["extract", x, "-o", out]),
    "step": (lambda: STEP, spoil_text, "x.step", lambda x, out: ["extract", x, "-o", out]),
}  # fmt: skip


def case(kind: str, seed: int) -> str:
    """Run one case; an empty text where it ended as it must, else what was wrong."""
    from floorfit.cli import main

    make, spoil, name, words = KINDS[kind]
    data = spoil(make(), random.Random(f"{kind} {seed}"))
    if kind == "record to apply":
        (_job() / "finish.nc").write_bytes(PROGRAMME)
    with tempfile.TemporaryDirectory() as place, _undrawn():
        file = Path(place) / name
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(data)
        target = str(file.parent if name.startswith("job/") else file)
        said, before, start = io.StringIO(), _files(place), time.monotonic()
        try:
            with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said), _at_most(LONGEST):
                code = main(words(target, str(Path(place) / "out")))
        except TookTooLong:
            return f"took more than {LONGEST} s"
        except SystemExit as stop:
            code = int(stop.code or 0)
        except BaseException as error:
            return f"{type(error).__name__} came out: {error}"
        return _wrong(code, said.getvalue(), _files(place) - before, time.monotonic() - start)


def _wrong(code: int, said: str, written: set[str], seconds: float) -> str:
    if code not in (0, 1, 2):
        return f"exit {code}"
    if "Traceback" in said or "internal fault" in said:
        return said.strip()[-300:]
    if code == 2 and not said.strip():
        return "refused without a word"
    if code == 2 and written:
        return f"refused, but wrote {sorted(written)[:3]}"
    return f"{seconds:.0f} s" if seconds > LONGEST else ""


def _files(place: str) -> set[str]:
    return {str(path) for path in Path(place).rglob("*")}


@contextlib.contextmanager
def _at_most(seconds: int) -> Iterator[None]:
    """Raise `TookTooLong` after so many seconds, where the system has an alarm."""

    def ring(*_: object) -> None:
        raise TookTooLong

    if not hasattr(signal, "SIGALRM"):
        yield
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def main() -> None:
    parser = argparse.ArgumentParser(description="Run spoilt inputs.")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=list(KINDS))
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seconds", type=float, default=float("inf"), help="for each kind, at most")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    import warnings

    warnings.simplefilter("ignore")
    for kind in arguments.kinds:
        start, done, bad = time.monotonic(), 0, 0
        for seed in range(arguments.seed, arguments.seed + arguments.cases):
            if time.monotonic() - start > arguments.seconds:
                break
            wrong = case(kind, seed)
            done, bad = done + 1, bad + bool(wrong)
            if wrong:
                print(f"{kind}, seed {seed}: {wrong}", flush=True)
        print(f"{kind}: {done} cases, {bad} ended otherwise than they must", flush=True)


if __name__ == "__main__":
    main()
