"""The words of cutter-location data, sorted by what they can do to the place of the tool.

Major words of ISO 4343 and ISO 3592 from memory; the standards were not at hand. A word in no list is *unknown*.
"""

from __future__ import annotations

import re

__all__ = ["AWAY", "FRAME_MINORS", "INSERT_MOVES", "PREFUN_STILL", "REFUSED", "SOURCE", "STILL", "TEXT", "UNIT_MM"]


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


#: What follows is text up to the end of the line, whatever it looks like.
TEXT = frozenset({"INSERT", "LETTER", "PARTNO", "PPRINT", "REMARK"})

#: Kept as they are: none of them moves the tool, turns an axis or changes what a coordinate means.
STILL = _words(
    """
    AIR ARCSLP AUXFUN BREAK CHECK CLAMP CLDIST CLPRNT CLRSRF COOLNT COUPLE DEBUG DELAY DISPLY DRAFT DWELL
    END ENDTL INDEX INTCOD INTOL LEADER LIMIT LINTOL LOCK MACHIN MAXDPM MAXVEL MCHFIN MCHTOL
    MODE NOPOST OPSTOP OUTTOL OVPLOT PENDWN PENUP PLABEL PPLOC PPTOL PRINT RESET
    REWIND SELCTL SELECT SEQNO SLOWDN SPINDL STOP TIME TLSPEC TMARK TOLER UNLOAD VERIFY
    """
)

#: The tool goes to a place that only the machine or the post-processor knows.
AWAY = frozenset({"GOCLER", "GOHOME", "RETRCT"})

#: Refused whatever they carry: the place of the tool depends on them, and this reader does not follow them.
REFUSED = {
    "ARCMOV": "an arc in a form that is not followed here: write CIRCLE, or points",
    "COPY": "the motions before it are run again at other places: have them written out",
    **dict.fromkeys(("CUT", "DNTCUT"), "points are left out and taken up again: have the file written without DNTCUT"),
    "HEAD": "another head may stand elsewhere: split the file there",
    **dict.fromkeys(("LOOPND", "LOOPST"), "a loop: have it written out"),
    **dict.fromkeys(("CALL", "MACRO"), "a macro: have it written out"),
    **dict.fromkeys(("MATRIX", "REFSYS"), "a frame by name: state it with --frame"),
    "MIRROR": "a mirror: have it written out",
    **dict.fromkeys(("NURBS", "POLYNM", "SPLINE"), "a curve that is not followed here: have it written as points"),
    "ORIGIN": "it may shift what the numbers mean: take it out and state the file's frame with --frame",
    "PIVOTZ": "the numbers may be a pivot and not the tip: have the tip written",
    "ROTABL": "the table turns under the tool: have the axis written as a vector in the part's frame",
    "ROTATE": "an axis turns: have it written as a vector in the part's frame",
    "ROTHED": "the head turns: have the axis written as a vector in the part's frame",
    "SCALE": "a scale: have the points written out",
    "XYZ": "points in a form that is not followed here: write GOTO",
}

#: Statements of a part programme, which a processor turns into cutter-location data.
SOURCE = _words(
    """
    AUTOPS CONTCT DO DSIS GCURV GO GOBACK GODOWN GOFWD GOLFT GORGT GOUP IF INDIRP INDIRV JUMPTO NOPS OBTAIN
    OFFSET POCKET PROC PSIS RESERV SCURV SYN TERMAC TLLFT TLNDON TLOFPS TLON TLONPS TLRGT UNDO ZSURF
    """
)

#: A minor word of this kind behind an unknown major word: it may turn, shift or mirror what follows.
FRAME_MINORS = _words(
    """
    CANON DATUM FRAME INVERS LAST MATRIX MIROR MIRROR ORIGIN REFSYS ROTREF SCALE TRANSL XAXIS XCOORD XYPLAN
    XYROT YAXIS YCOORD YZPLAN YZROT ZAXIS ZCOORD ZXPLAN ZXROT
    """
)

#: Text handed to the control that can move it or shift its zero: an axis word, or a G word but for dwell, exact stop
#: and path mode (G4, G9, G60, G61, G64: RS274/NGC, NISTIR 6556, 3.5).
INSERT_MOVES = re.compile(r"(?<![A-Z])(?:[XYZUVWABCIJK]\s*[-+.\d#\[=]|G(?!\s*0*(?:4|9|60|61|64)(?![.\d]))\s*\d)")

#: G words of ``PREFUN`` that neither move the tool nor shift its zero, as above and with plane, cancels and defaults.
PREFUN_STILL = frozenset({4, 9, 17, 40, 60, 61, 64, 80, 90, 94})

#: Millimetres in the unit of a ``UNITS`` word.
UNIT_MM = {
    **dict.fromkeys(("MM", "MMS", "MILLIMETER", "MILLIMETERS", "MILLIMETRE", "MILLIMETRES"), 1.0),
    **dict.fromkeys(("IN", "INCH", "INCHES"), 25.4),
}
