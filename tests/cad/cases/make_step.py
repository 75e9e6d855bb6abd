"""Write the STEP files here again: ``python make_step.py``; the same bytes every time.

A block of 120 × 80 × 20 mm with one pocket, from (20, 20) to (100, 60), corner radius 8 mm, floor at Z 2 mm, written
by hand as an ISO 10303-21 file of the schema AUTOMOTIVE_DESIGN (AP214). Invented, for tests only. With an argument
``in`` the same figures are written as inches: ``pocket_block_inch.step`` (a tenth of the size: 12 × 8 × 2).

``arched_web.step`` is a block of 200 × 160 × 40 mm pocketed from both sides, from (20, 20) to (180, 140). Floor and
underside are cylinders about one line along Y at X 100, Z 604, of radius 600 and 602 mm: a web of 2 mm along its
normal.
"""

from __future__ import annotations

import math
from pathlib import Path

HERE = Path(__file__).resolve().parent


def real(value):
    """A number as ISO 10303-21 wants it: always with a point."""
    text = f"{float(value):.9f}".rstrip("0")
    return text if text != "-0." else "0."


class Writer:
    """Collects entities, gives them numbers, and shares vertices and edges."""

    def __init__(self):
        self.lines = []
        self.vertices = {}
        self.edges = {}

    def add(self, text):
        self.lines.append(f"#{len(self.lines) + 1}={text};")
        return f"#{len(self.lines)}"

    def point(self, p):
        return self.add(f"CARTESIAN_POINT('',({','.join(real(v) for v in p)}))")

    def direction(self, d):
        return self.add(f"DIRECTION('',({','.join(f'{float(v):.1f}' for v in d)}))")

    def placement(self, origin, axis, ref):
        return self.add(f"AXIS2_PLACEMENT_3D('',{self.point(origin)},{self.direction(axis)},{self.direction(ref)})")

    def vertex(self, p):
        if p not in self.vertices:
            self.vertices[p] = self.add(f"VERTEX_POINT('',{self.point(p)})")
        return self.vertices[p]

    def edge(self, a, b, centre=None):
        """Oriented edge from a to b, straight or on a circle about ``centre``: level, or with 3 numbers upright."""
        if centre is not None and self.is_clockwise(a, b, centre):
            self.edge(b, a, centre)
        if (b, a, centre) in self.edges:
            return self.add(f"ORIENTED_EDGE('',*,*,{self.edges[b, a, centre]},.F.)")
        if (a, b, centre) not in self.edges:
            if centre is None:
                delta = [q - p for p, q in zip(a, b, strict=True)]
                length = math.hypot(*delta)
                way = self.add(f"VECTOR('',{self.direction([d / length for d in delta])},1.)")
                curve = self.add(f"LINE('',{self.point(a)},{way})")
            elif len(centre) == 3:
                place = self.placement(centre, (0, 1, 0), (1, 0, 0))
                curve = self.add(f"CIRCLE('',{place},{real(math.hypot(a[0] - centre[0], a[2] - centre[2]))})")
            else:
                radius = math.hypot(a[0] - centre[0], a[1] - centre[1])
                curve = self.add(f"CIRCLE('',{self.placement((*centre, a[2]), (0, 0, 1), (1, 0, 0))},{real(radius)})")
            self.edges[a, b, centre] = self.add(f"EDGE_CURVE('',{self.vertex(a)},{self.vertex(b)},{curve},.T.)")
        return self.add(f"ORIENTED_EDGE('',*,*,{self.edges[a, b, centre]},.T.)")

    @staticmethod
    def is_clockwise(a, b, centre):
        if len(centre) == 3:
            return a[0] < b[0]  # under the centre the parameter of a circle about +Y grows towards -X
        return (a[0] - centre[0]) * (b[1] - centre[1]) < (a[1] - centre[1]) * (b[0] - centre[0])

    def face(self, loops, surface, sense=".T."):
        bounds = []
        for number, loop in enumerate(loops):
            edges = ",".join(self.edge(*edge) for edge in loop)
            kind = "FACE_BOUND" if number else "FACE_OUTER_BOUND"
            bounds.append(self.add(f"{kind}('',{self.add(f'EDGE_LOOP({chr(39)}{chr(39)},({edges}))')},.T.)"))
        return self.add(f"ADVANCED_FACE('',({','.join(bounds)}),{surface},{sense})")

    def plane(self, origin, axis, ref):
        return self.add(f"PLANE('',{self.placement(origin, axis, ref)})")


def straight(points):
    return [(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]


def rounded(x0, y0, x1, y1, r, z):
    """Edges of a rounded rectangle, anticlockwise from above: line, arc, line, arc, ..."""
    lines = [
        ((x0 + r, y0), (x1 - r, y0)),
        ((x1, y0 + r), (x1, y1 - r)),
        ((x1 - r, y1), (x0 + r, y1)),
        ((x0, y1 - r), (x0, y0 + r)),
    ]
    centres = [(x1 - r, y0 + r), (x1 - r, y1 - r), (x0 + r, y1 - r), (x0 + r, y0 + r)]
    out = []
    for k in range(4):
        (a, b), (c, _) = lines[k], lines[(k + 1) % 4]
        out += [((*a, z), (*b, z)), ((*b, z), (*c, z), centres[k])]
    return out


def backwards(loop):
    return [(edge[1], edge[0], *edge[2:]) for edge in reversed(loop)]


def block(w, scale):
    s = scale
    low = [(0.0, 0.0, 0.0), (120 * s, 0.0, 0.0), (120 * s, 80 * s, 0.0), (0.0, 80 * s, 0.0)]
    top = [(x, y, 20 * s) for x, y, _ in low]
    rim = rounded(20 * s, 20 * s, 100 * s, 60 * s, 8 * s, 20 * s)
    foot = rounded(20 * s, 20 * s, 100 * s, 60 * s, 8 * s, 2 * s)
    faces = [
        w.face([straight(low[::-1])], w.plane(low[0], (0, 0, -1), (1, 0, 0))),
        w.face([straight(top), backwards(rim)], w.plane(top[0], (0, 0, 1), (1, 0, 0))),
        w.face([foot], w.plane(foot[0][0], (0, 0, 1), (1, 0, 0))),
    ]
    for k, normal in enumerate([(0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0)]):
        a, b = low[k], low[(k + 1) % 4]
        c, d = top[(k + 1) % 4], top[k]
        faces.append(w.face([straight([a, b, c, d])], w.plane(a, normal, (0, 0, 1))))
    for k in range(0, 8, 2):
        a, b = foot[k]
        d, c = rim[k]
        inward = {0: (0, 1, 0), 2: (-1, 0, 0), 4: (0, -1, 0), 6: (1, 0, 0)}[k]
        faces.append(w.face([[(b, a), (a, d), (d, c), (c, b)]], w.plane(a, inward, (0, 0, 1))))
        a, b, centre = foot[k + 1]
        d, c, _ = rim[k + 1]
        barrel = w.add(f"CYLINDRICAL_SURFACE('',{w.placement((*centre, 2 * s), (0, 0, 1), (1, 0, 0))},{real(8 * s)})")
        faces.append(w.face([[(b, a, centre), (a, d), (d, c, centre), (c, b)]], barrel, ".F."))
    return w.add(f"MANIFOLD_SOLID_BREP('block',{w.add(f'CLOSED_SHELL({chr(39)}{chr(39)},({chr(44).join(faces)}))')})")


ARCH_X, ARCH_Z = 100.0, 604.0


def arched(radius):
    """Edges of a rectangle on a cylinder about a line along Y, anticlockwise from above."""
    z = ARCH_Z - math.sqrt(radius**2 - 80.0**2)
    a, b, c, d = (20.0, 20.0, z), (180.0, 20.0, z), (180.0, 140.0, z), (20.0, 140.0, z)
    return [(a, b, (ARCH_X, 20.0, ARCH_Z)), (b, c), (c, d, (ARCH_X, 140.0, ARCH_Z)), (d, a)]


def arched_web(w):
    low = [(0.0, 0.0, 0.0), (200.0, 0.0, 0.0), (200.0, 160.0, 0.0), (0.0, 160.0, 0.0)]
    top = [(x, y, 40.0) for x, y, _ in low]
    mouth = [(20.0, 20.0), (180.0, 20.0), (180.0, 140.0), (20.0, 140.0)]
    above, below = (straight([(*xy, z) for xy in mouth]) for z in (40.0, 0.0))
    floor, roof = arched(600.0), arched(602.0)
    faces = [
        w.face([straight(low[::-1]), below], w.plane(low[0], (0, 0, -1), (1, 0, 0))),
        w.face([straight(top), backwards(above)], w.plane(top[0], (0, 0, 1), (1, 0, 0))),
    ]
    for loop, radius, sense in ((floor, 600.0, ".F."), (backwards(roof), 602.0, ".T.")):
        place = w.placement((ARCH_X, 20.0, ARCH_Z), (0, 1, 0), (1, 0, 0))
        faces.append(w.face([loop], w.add(f"CYLINDRICAL_SURFACE('',{place},{real(radius)})"), sense))
    for k, outward in enumerate([(0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0)]):
        inward = tuple(-v for v in outward)
        a, b, c, d = low[k], low[(k + 1) % 4], top[(k + 1) % 4], top[k]
        faces.append(w.face([straight([a, b, c, d])], w.plane(a, outward, (0, 0, 1))))
        for foot, rim, turn in ((floor[k], above[k], False), (roof[k], below[k], True)):
            (a, b, *centre), (d, c) = foot, rim
            loop = [(b, a, *centre), (a, d), (d, c), (c, b)]
            faces.append(w.face([backwards(loop) if turn else loop], w.plane(a, inward, (0, 0, 1))))
    return w.add(f"MANIFOLD_SOLID_BREP('web',{w.add(f'CLOSED_SHELL({chr(39)}{chr(39)},({chr(44).join(faces)}))')})")


def units(w, inch):
    if not inch:
        length = w.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
    else:
        milli = w.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
        measure = w.add(f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),{milli})")
        size = w.add("DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)")
        length = w.add(f"(CONVERSION_BASED_UNIT('INCH',{measure})LENGTH_UNIT()NAMED_UNIT({size}))")
    angle = w.add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
    solid = w.add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
    sure = w.add(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-06),{length},'distance_accuracy_value','')")
    return w.add(
        "(GEOMETRIC_REPRESENTATION_CONTEXT(3)"
        f"GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({sure}))GLOBAL_UNIT_ASSIGNED_CONTEXT(({length},{angle},{solid}))"
        "REPRESENTATION_CONTEXT('',''))"
    )


def step_text(inch, name="pocket_block"):
    w = Writer()
    context = units(w, inch)
    solid = arched_web(w) if name == "arched_web" else block(w, 0.1 if inch else 1.0)
    shape = w.add(
        f"ADVANCED_BREP_SHAPE_REPRESENTATION('',({w.placement((0, 0, 0), (0, 0, 1), (1, 0, 0))},{solid}),{context})"
    )
    app = w.add("APPLICATION_CONTEXT('core data for automotive mechanical design processes')")
    w.add(f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{app})")
    product_context = w.add(f"PRODUCT_CONTEXT('',{app},'mechanical')")
    product = w.add(f"PRODUCT('block','block','',({product_context}))")
    formation = w.add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    definition_context = w.add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{app},'design')")
    definition = w.add(f"PRODUCT_DEFINITION('design','',{formation},{definition_context})")
    form = w.add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
    w.add(f"SHAPE_DEFINITION_REPRESENTATION({form},{shape})")
    head = (
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(('invented block for tests'),'2;1');\n"
        f"FILE_NAME('{name}','2020-01-01T00:00:00',(''),(''),'','','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n"
    )
    return head + "\n".join(w.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"


if __name__ == "__main__":
    (HERE / "pocket_block.step").write_text(step_text(False), encoding="ascii", newline="\n")
    (HERE / "pocket_block_inch.step").write_text(step_text(True), encoding="ascii", newline="\n")
    (HERE / "arched_web.step").write_text(step_text(False, "arched_web"), encoding="ascii", newline="\n")
