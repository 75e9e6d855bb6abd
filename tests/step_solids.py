"""Solids as STEP files (ISO 10303-21, schema AUTOMOTIVE_DESIGN), written by hand, without a CAD kernel.

Faces are planes, cylinders, tori and polynomial surfaces; edges are lines, circles and polynomial curves. Loops run
anticlockwise as seen from outside the metal. A solid may be turned and shifted while it is written.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np


def place(p):
    return tuple(float(v) for v in np.round(p, 9))


@dataclass(frozen=True)
class Edge:
    """From ``a`` to ``b``: straight, round ``centre`` anticlockwise about ``axis``, or a Bezier curve of ``poles``."""

    a: tuple
    b: tuple
    centre: tuple = ()
    axis: tuple = ()
    poles: tuple = ()

    def back(self):
        return Edge(self.b, self.a, self.centre, place(-np.array(self.axis)) if self.axis else (), self.poles[::-1])


def line(a, b):
    return Edge(place(a), place(b))


def arc(a, b, centre):
    """The shorter way round."""
    axis = np.cross(np.subtract(a, centre), np.subtract(b, centre))
    return Edge(place(a), place(b), place(centre), place(axis / np.linalg.norm(axis)))


def back(loop):
    return [edge.back() for edge in reversed(loop)]


def real(value):
    """A number as ISO 10303-21 wants it: always with a point."""
    text = f"{float(value):.12f}".rstrip("0")
    return "0." if text == "-0." else text


class StepSolid:
    """Collects the entities of one solid, in mm or inches."""

    def __init__(self, rotation=None, shift=(0.0, 0.0, 0.0)):
        self.lines, self.faces, self.vertices, self.edges = [], [], {}, {}
        self.rotation, self.shift = np.eye(3) if rotation is None else rotation, np.array(shift)

    def add(self, text):
        self.lines.append(f"#{len(self.lines) + 1}={text};")
        return f"#{len(self.lines)}"

    def point(self, p):
        return self.add(f"CARTESIAN_POINT('',({','.join(map(real, self.rotation @ np.array(p) + self.shift))}))")

    def direction(self, d):
        d = self.rotation @ np.array(d, float)
        return self.add(f"DIRECTION('',({','.join(map(real, d / np.linalg.norm(d)))}))")

    def placement(self, origin, axis, ref=None):
        if ref is None:
            ref = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
        return self.add(f"AXIS2_PLACEMENT_3D('',{self.point(origin)},{self.direction(axis)},{self.direction(ref)})")

    def vertex(self, p):
        if p not in self.vertices:
            self.vertices[p] = self.add(f"VERTEX_POINT('',{self.point(p)})")
        return self.vertices[p]

    def curve(self, edge):
        a, b = np.array(edge.a), np.array(edge.b)
        if edge.centre:
            at = self.placement(edge.centre, edge.axis, a - edge.centre)
            return self.add(f"CIRCLE('',{at},{real(np.linalg.norm(a - edge.centre))})")
        if edge.poles:
            poles, n = ",".join(self.point(p) for p in edge.poles), len(edge.poles)
            form = f"'',{n - 1},({poles}),.UNSPECIFIED.,.F.,.F.,({n},{n}),(0.,1.),.UNSPECIFIED."
            return self.add(f"B_SPLINE_CURVE_WITH_KNOTS({form})")
        return self.add(f"LINE('',{self.point(a)},{self.add(f'VECTOR({chr(39) * 2},{self.direction(b - a)},1.)')})")

    def oriented(self, edge):
        if edge.back() in self.edges:
            return self.add(f"ORIENTED_EDGE('',*,*,{self.edges[edge.back()]},.F.)")
        if edge not in self.edges:
            ends = f"{self.vertex(edge.a)},{self.vertex(edge.b)}"
            self.edges[edge] = self.add(f"EDGE_CURVE('',{ends},{self.curve(edge)},.T.)")
        return self.add(f"ORIENTED_EDGE('',*,*,{self.edges[edge]},.T.)")

    def face(self, loops, surface, *, inside=False):
        """A face; ``inside`` where the metal is where the surface's normal points: in a hole or a hollow."""
        bounds = []
        for number, loop in enumerate(loops):
            around = self.add(f"EDGE_LOOP('',({','.join(self.oriented(edge) for edge in loop)}))")
            bounds.append(self.add(f"FACE{'_' if number else '_OUTER_'}BOUND('',{around},.T.)"))
        sense = ".F." if inside else ".T."
        self.faces.append(self.add(f"ADVANCED_FACE('',({','.join(bounds)}),{self.add(surface)},{sense})"))

    def plane(self, loops, normal):
        self.face(loops, f"PLANE('',{self.placement(loops[0][0].a, normal)})")

    def cylinder(self, loop, origin, axis, radius, *, inside):
        self.face([loop], f"CYLINDRICAL_SURFACE('',{self.placement(origin, axis)},{real(radius)})", inside=inside)

    def torus(self, loop, origin, axis, major, minor, *, inside):
        size = f"{real(major)},{real(minor)}"
        self.face([loop], f"TOROIDAL_SURFACE('',{self.placement(origin, axis)},{size})", inside=inside)

    def polynomial(self, loops, poles):
        """A Bezier surface of (m, n, 3) poles; its normal is that of first direction x second direction."""
        m, n = poles.shape[:2]
        rows = ",".join(f"({','.join(self.point(p) for p in row)})" for row in poles)
        knots = f"({m},{m}),({n},{n}),(0.,1.),(0.,1.),.UNSPECIFIED."
        form = f"'',{m - 1},{n - 1},({rows}),.UNSPECIFIED.,.F.,.F.,.F.,{knots}"
        self.face(loops, f"B_SPLINE_SURFACE_WITH_KNOTS({form})")

    def sides(self, low, high, *, hole):
        """Upright faces between two rings, anticlockwise from above: of a hole, or of what stands up."""
        for foot, top in zip(low, high, strict=True):
            loop = [foot.back(), line(foot.a, top.a), top, line(top.b, foot.b)]
            inward = np.cross((0, 0, 1), np.subtract(foot.b, foot.a))
            if foot.centre and foot.axis[2]:
                radius = np.linalg.norm(np.subtract(foot.a, foot.centre))
                self.cylinder(loop if hole else back(loop), foot.centre, (0, 0, 1), radius, inside=hole)
            else:
                self.plane([loop if hole else back(loop)], inward if hole else -inward)

    def text(self, unit="mm"):
        shell = self.add(f"CLOSED_SHELL('',({','.join(self.faces)}))")
        solid = self.add(f"MANIFOLD_SOLID_BREP('solid',{shell})")
        items = f"({self.bare_placement()},{solid})"
        shape = self.add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('',{items},{_context(self, unit)})")
        _product(self, shape)
        return _HEAD + "\n".join(self.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"

    def bare_placement(self):
        at, z, x = "CARTESIAN_POINT('',(0.,0.,0.))", "DIRECTION('',(0.,0.,1.))", "DIRECTION('',(1.,0.,0.))"
        return self.add(f"AXIS2_PLACEMENT_3D('',{self.add(at)},{self.add(z)},{self.add(x)})")


_HEAD = (
    "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(('invented solid for tests'),'2;1');\n"
    "FILE_NAME('solid','2020-01-01T00:00:00',(''),(''),'','','');\n"
    "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n"
)


def _context(w, unit):
    length = w.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
    if unit == "in":
        measure = w.add(f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),{length})")
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


def _product(w, shape):
    app = w.add("APPLICATION_CONTEXT('core data for automotive mechanical design processes')")
    w.add(f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{app})")
    product_context = w.add(f"PRODUCT_CONTEXT('',{app},'mechanical')")
    product = w.add(f"PRODUCT('solid','solid','',({product_context}))")
    formation = w.add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    definition_context = w.add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{app},'design')")
    definition = w.add(f"PRODUCT_DEFINITION('design','',{formation},{definition_context})")
    form = w.add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
    w.add(f"SHAPE_DEFINITION_REPRESENTATION({form},{shape})")


# Rings, anticlockwise from above.


def polygon(corners, z=None):
    points = [(*corner, z) if z is not None else tuple(corner) for corner in corners]
    return [line(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]


def box_ring(x0, y0, x1, y1, z):
    return polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], z)


def rounded_ring(x0, y0, x1, y1, radius, z):
    """Line, corner, line, corner, ..."""
    r = radius
    middles = [(x1 - r, y0 + r, z), (x1 - r, y1 - r, z), (x0 + r, y1 - r, z), (x0 + r, y0 + r, z)]
    sides = [
        ((x0 + r, y0), (x1 - r, y0)),
        ((x1, y0 + r), (x1, y1 - r)),
        ((x1 - r, y1), (x0 + r, y1)),
        ((x0, y1 - r), (x0, y0 + r)),
    ]
    out = []
    for k, ((a, b), middle) in enumerate(zip(sides, middles, strict=True)):
        out += [line((*a, z), (*b, z)), arc((*b, z), (*sides[(k + 1) % 4][0], z), middle)]
    return out


def bernstein_poles(height, x0, y0, x1, y1, degree):
    """Poles of a polynomial height of that degree in X and in Y over a rectangle, (degree + 1, degree + 1, 3)."""
    share = np.arange(degree + 1) / degree
    basis = np.array([[comb(degree, k) * s**k * (1 - s) ** (degree - k) for k in range(degree + 1)] for s in share])
    x, y = np.meshgrid(x0 + share * (x1 - x0), y0 + share * (y1 - y0), indexing="ij")
    half = np.linalg.inv(basis)
    return np.stack([x, y, half @ height(x, y) @ half.T], axis=2)


def ring_of_poles(poles):
    sides = [poles[:, 0], poles[-1], poles[::-1, -1], poles[0, ::-1]]
    return [Edge(place(side[0]), place(side[-1]), poles=tuple(map(place, side))) for side in sides]


def filleted_foot(w, ring, foot, radius):
    """Fillets between the ring of a floor and the ring ``radius`` higher where the wall begins; both rounded."""
    up = np.array([0.0, 0.0, radius])
    for low, high in zip(foot, ring, strict=True):
        loop = [low.back(), arc(low.a, high.a, low.a + up), high, arc(low.b, high.b, low.b + up).back()]
        if low.centre:
            major = np.linalg.norm(np.subtract(low.a, low.centre))
            w.torus(loop, np.add(low.centre, up), (0, 0, 1), major, radius, inside=True)
        else:
            w.cylinder(loop, np.add(low.a, up), np.subtract(low.b, low.a), radius, inside=True)
