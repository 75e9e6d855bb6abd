"""A bounded share of the fuzzer: some cases of every kind, and each seed that once found a fault.

``python tests/fuzz.py`` runs thousands, by hand.
"""

from __future__ import annotations

import json
import struct
import warnings
from pathlib import Path

import fuzz
import pytest

from floorfit.cad import extract_pockets
from floorfit.errors import InputError

#: What went wrong before it was mended: a facet that names a vertex that is not there (IndexError), a drawing cut off
#: in its header (StopIteration), vertices of two coordinates (ValueError), an M word of 400 digits (OverflowError).
KEPT = [("ply", 3), ("dxf", 5), ("obj", 111), ("programme", 3)]
#: Cases of each kind; a number, and no time, so that a quick machine runs what a slow one does.
CASES = 5


@pytest.mark.parametrize(("kind", "seed"), KEPT)
def test_fault_that_was_mended_stays_so(kind: str, seed: int) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert fuzz.case(kind, seed) == ""


@pytest.mark.parametrize("kind", fuzz.KINDS)
def test_spoilt_input_is_answered_or_refused(kind: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for seed in range(CASES):
            assert fuzz.case(kind, seed) == "", f"python tests/fuzz.py --kinds '{kind}' --seed {seed} --cases 1"


def test_buffer_beside_a_model_is_never_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Khronos glTF 2.0, 3.6.1.1: a buffer may name a file or an address. The model is whole with it; it is not read.
    data = fuzz._mesh_file("glb")
    size = struct.unpack("<I", data[12:16])[0]
    document, body = json.loads(data[20 : 20 + size]), data[20 + size + 8 :]
    document["buffers"][0]["uri"] = "beside.bin"
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    packed = data[:8] + struct.pack("<II", 20 + len(text), len(text)) + data[16:20] + text
    (tmp_path / "x.glb").write_bytes(packed)
    (tmp_path / "beside.bin").write_bytes(body)
    opened = []
    real = Path.open
    monkeypatch.setattr(Path, "open", lambda self, *a, **k: (opened.append(self.name), real(self, *a, **k))[1])
    with pytest.raises(InputError, match="cannot be read as GLB"):
        extract_pockets(tmp_path / "x.glb")
    assert "beside.bin" not in opened
