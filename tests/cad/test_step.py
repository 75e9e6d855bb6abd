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


@pytest.mark.parametrize(
    ("axes", "scale", "says"),
    [
        (("#1", "#2", "#3"), "$", None),
        (("#2", "#4", "#3"), "1.", None),
        (("$", "$", "$"), "1.000000000000", None),
        (("#4", "#2", "#3"), "$", "an item is placed mirrored"),
        (("#2", "#1", "$"), "1.", "an item is placed mirrored"),
        (("#1", "#2", "#3"), "25.4", "an item is placed scaled by 25.4"),
    ],
)
def test_items_placed_mirrored_or_scaled(axes, scale, says, tmp_path):
    """The sign of the axes' determinant and the scale (ISO 10303-42, cartesian_transformation_operator_3d)."""
    directions = [
        f"#{i}=DIRECTION('',({d}));" for i, d in enumerate(("1.,0.,0.", "0.,1.,0.", "0.,0.,1.", "-1.,0.,0."), 1)
    ]
    operator = f"#9=CARTESIAN_TRANSFORMATION_OPERATOR_3D('a,b','',$,{axes[0]},{axes[1]},#8,{scale},{axes[2]});"
    text = refused(tmp_path, HEAD + BODY.format("\n".join([*directions, operator, "#10=FACE_SURFACE('',(),$,.T.);"])))
    assert ("an item is placed" in text) == (says is not None)
    assert says is None or says in text
