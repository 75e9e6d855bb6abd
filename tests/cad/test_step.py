"""What a STEP file is seen to be before it is read. The texts follow ISO 10303-21."""

from __future__ import annotations

import pytest

from floorfit.cad import extract_pockets
from floorfit.errors import InputError

HEAD = "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
BODY = "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n{}\nENDSEC;\nEND-ISO-10303-21;\n"


def refused(tmp_path, text):
    path = tmp_path / "model.stp"
    path.write_text(text, encoding="ascii")
    with pytest.raises(InputError, match=r"model\.stp") as caught:
        extract_pockets(path)
    return str(caught.value)


def test_another_format_with_the_same_ending(tmp_path):
    """Scripts of a kernel tracer end in .stp as well."""
    text = refused(tmp_path, 'global tracing\nprobe process.mark("entry") { }\n')
    assert "does not start with ISO-10303-21 as a STEP file does" in text


def test_assembly_of_other_files(tmp_path):
    documents = [f"#{i}=DOCUMENT_FILE('part_{i}.stp','','',#9,'',$);" for i in (1, 2, 3, 4, 5, 1)]
    text = refused(tmp_path, HEAD + BODY.format("\n".join(documents)))
    assert "its parts are other files (part_1.stp, part_2.stp, part_3.stp, part_4.stp, ...)" in text


def test_no_face(tmp_path):
    assert "holds no face" in refused(tmp_path, HEAD + BODY.format("#1=CARTESIAN_POINT('',(0.,0.,0.));"))
