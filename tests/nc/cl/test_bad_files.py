"""Forty kinds of bad cutter-location data: refused with exit 2, the line named, nothing written."""

from __future__ import annotations

import pytest
import record_factory

from floorfit.cli import main

HEAD = "UNITS/MM\nLOADTL/1\nCUTTER/10,0\nRAPID\nGOTO/50,30,60\n"

#: What is wrong, the text, and the line that must be named (0: none can be).
BAD = {
    "no unit": ("GOTO/1,2,3\n", 1),
    "unit unknown": ("UNITS/FURLONG\nGOTO/1,2,3\n", 1),
    "another unit later": (HEAD + "UNITS/INCHES\nGOTO/1,2,3\n", 6),
    "two numbers": (HEAD + "GOTO/1,2\n", 6),
    "five numbers": (HEAD + "GOTO/1,2,3,0,1\n", 6),
    "seven numbers": (HEAD + "GOTO/1,2,3,0,0,1,9\n", 6),
    "a name for a point": (HEAD + "GOTO/PT1\n", 6),
    "empty field": (HEAD + "GOTO/1,,3\n", 6),
    "comma at the end": (HEAD + "GOTO/1,2,\n", 6),
    "two points in a number": (HEAD + "GOTO/1.2.3,2,3\n", 6),
    "blank in a number": (HEAD + "GOTO/1 2,2,3\n", 6),
    "letter for a digit": (HEAD + "GOTO/1,2,3O\n", 6),
    "nan": (HEAD + "GOTO/1,nan,3\n", 6),
    "too large": (HEAD + "GOTO/1,2,1e400\n", 6),
    "axis of no length": (HEAD + "GOTO/1,2,3,0,0,0\n", 6),
    "axis too long": (HEAD + "GOTO/1,2,3,0,0.5,1\n", 6),
    "axis after MULTAX/OFF": (HEAD + "MULTAX/OFF\nGOTO/1,2,3,0,0.6,0.8\n", 7),
    "axis left over at MULTAX/OFF": (HEAD + "GOTO/1,2,3,0,0.6,0.8\nMULTAX/OFF\nGOTO/1,2,3\n", 8),
    "MULTAX maybe": (HEAD + "MULTAX/MAYBE\n", 6),
    "nothing after $": (HEAD + "GOTO/1,2,$\n", 6),
    "number over the line's end": (HEAD + "GOTO/1,2,3.$\n5\n", 6),
    "two statements in a line": (HEAD + "GOTO/1,2,3;GOTO/4,5,6\n", 6),
    "text that may go on": (HEAD + "PPRINT NOW GOTO $\nGOTO/1,2,3\n", 6),
    "control character": (HEAD + "GOTO/1,2,\x07 3\n", 6),
    "increment from nowhere": ("UNITS/MM\nGODLTA/0,0,1\n", 2),
    "increment after GOHOME": (HEAD + "GOHOME\nGODLTA/0,0,1\n", 7),
    "increment after TRACUT": (HEAD + "TRACUT/1,0,0,5,0,1,0,0,0,0,1,0\nGODLTA/0,0,1\n", 7),
    "increment of two": (HEAD + "GODLTA/0,1\n", 6),
    "circle of six": (HEAD + "CIRCLE/0,0,0,0,0,1\nGOTO/1,2,3\n", 6),
    "circle with a bad axis": (HEAD + "CIRCLE/0,0,0,0,1,1,5\nGOTO/1,2,3\n", 6),
    "circle that does not fit": (HEAD + "CIRCLE/50,40,60,0,0,1,9\nGOTO/50,50,60\n", 7),
    "circle under RAPID": (HEAD + "RAPID\nCIRCLE/50,40,60,0,0,1,10\nGOTO/50,50,60\n", 7),
    "circle from nowhere": ("UNITS/MM\nCIRCLE/50,40,60,0,0,1,10\nGOTO/50,50,60\n", 2),
    "cutter of nothing": (HEAD + "CUTTER/0\n", 6),
    "cutter by a name": (HEAD + "CUTTER/BALL\n", 6),
    "TRACUT of nine": (HEAD + "TRACUT/1,0,0,0,1,0,0,0,1\n", 6),
    "TRACUT that mirrors": (HEAD + "TRACUT/-1,0,0,0,0,1,0,0,0,0,1,0\n", 6),
    "TRACUT that stretches": (HEAD + "TRACUT/2,0,0,0,0,2,0,0,0,0,2,0\n", 6),
    "TRACUT by a name": (HEAD + "TRACUT/M1\n", 6),
    "TRANS of two": (HEAD + "TRANS/1,2\n", 6),
    "COPY": (HEAD + "COPY/1,TRANSL,10,0,0,2\n", 6),
    "table turns": (HEAD + "ROTABL/90,CLW\n", 6),
    "ORIGIN": (HEAD + "ORIGIN/10,0,0\n", 6),
    "loop": (HEAD + "LOOPST\n", 6),
    "part programme": (HEAD + "P1=POINT/1,2,3\n", 6),
    "part programme, motion": (HEAD + "GOFWD/L1,PAST,L2\n", 6),
    "word not known, with numbers": (HEAD + "WARPTO/1,2,3\n", 6),
    "word not known, that mirrors": (HEAD + "TURNIT/YZPLAN\n", 6),
    "word with digits": (HEAD + "GOTO 1 2 3\n", 6),
    "INSERT that moves": (HEAD + "INSERT G0 Z100\n", 6),
    # G55 is another work offset, G92 a new zero (NISTIR 6556, 3.5.13 and 3.5.18).
    "PREFUN of another work offset": (HEAD + "PREFUN/55\n", 6),
    "PREFUN of a new zero": (HEAD + "PREFUN/17,92\n", 6),
    "INSERT that shifts the zero": (HEAD + "INSERT G92 X0\n", 6),
    "rapid as a feed": (HEAD + "FEDRAT/RAPID\n", 6),
    "offset in space": (HEAD + "CUTCOM/ON,NORMDS\n", 6),
    "not a text": ("UNITS/MM\nGOTO/1,2,3\x00\n", 0),
    "corrected before": ("$$ FLOORFIT: job x\n" + HEAD, 0),
    "other part": (HEAD + "GOTO/50,30,40\n", 0),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bad")
    (folder / "job").mkdir()
    (folder / "job" / "record.json").write_text(record_factory.frame().model_dump_json(), encoding="utf-8")
    return folder


def test_there_are_forty_kinds():
    assert len(BAD) >= 40


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_file_is_refused_by_line_and_nothing_is_written(folder, capsys, kind):
    text, line = BAD[kind]
    (folder / "bad.cl").write_bytes(text.encode("latin-1"))
    before = sorted(path.name for path in folder.iterdir())
    assert main(["apply", str(folder / "job"), str(folder / "bad.cl"), "-o", str(folder / "out.cl")]) == 2
    told = capsys.readouterr().err
    assert "bad.cl" in told
    assert "Traceback" not in told
    assert not line or f"line {line}:" in told.replace("\n", " "), told
    assert sorted(path.name for path in folder.iterdir()) == before
