"""Are damaged surfaces mended so that the pressures stay right, or refused by the right name?

Question: CAD exports and scans come flipped, torn, doubled, holed and rough. Of more than thirty
kinds of damage, how many are mended so that Cp stays within 0.02 rms of the clean body, how many
are refused with the fault named, and do clean surfaces pass untouched?
Method: the glider tug (right half, in mm, as its station table is lofted, finer where holes are
cut) and general bodies are damaged, the same way at every run. Each is taken through one function,
`pipeline`: coordinates to metres and body axes, `mended`, smoothing where the user calls it a
scan. Scans and bodies of very many triangles get new panels; the others are solved on their own
triangles, so that the panelling hides nothing. The flow is solved at alpha 4, beta 3 deg, and Cp
compared with that of the clean body at the control points of the clean panels.
Known answer: the flow round the clean body.
Command: python studies/repair_table.py
"""

import re
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.flow.solutions import solve
from panelcp.onset.conditions import FlightCondition
from panelcp.surface.curved import curved_panels
from panelcp.surface.formats import load_triangles
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mending import MendingOptions, mended
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.panelling import panelled
from panelcp.surface.reading import DEFAULT_AXES, axis_matrix
from panelcp.surface.refining import refined
from panelcp.surface.repair import edge_table, half_edge_ends, used_only
from panelcp.surface.smoothing import smoothed
from panelcp.surface.stations import loft_stations, read_stations
from panelcp.units import UNITS

TABLE = Path(__file__).parent.parent / "geometries" / "glider_tug" / "stations.csv"
CONDITION = FlightCondition("climb", true_airspeed=32.0, alpha=4.0, beta=3.0)
WANTED = 0.02  # rms of Cp
SIDE, TOP = (0.60, 0.50, 0.0), (0.55, 0.0, 0.35)  # m, near the skin: where holes are cut


@dataclass(frozen=True)
class Variant:
    """One damaged body as a user would give it.

    fault : "" where it must be mended, otherwise words that the refusal must contain.
    """

    name: str
    body: str
    vertices: np.ndarray
    triangles: np.ndarray
    half: bool = False
    fault: str = ""
    unit: str = "m"
    axes: tuple = tuple(DEFAULT_AXES.items())
    file: str = ""
    smooth: float = 0.0


def pipeline(variant: Variant, n_panels: int) -> SurfaceMesh:
    """From what the user gives to the panels that are solved."""
    vertices, triangles = variant.vertices, variant.triangles
    if variant.file:
        vertices, triangles = through_file(vertices, triangles, variant.file)
    matrix = axis_matrix(dict(variant.axes))
    if variant.unit != "m" or not np.array_equal(matrix, np.eye(3)):
        vertices = vertices @ matrix.T * UNITS["length"][variant.unit]
    options = MendingOptions(crossings=not variant.smooth)  # noise folds the skin here and there
    vertices, triangles, notes = mended(vertices, triangles, options, variant.half)
    if variant.smooth:
        vertices, triangles, lines = smoothed(vertices, triangles, variant.smooth)
        notes += lines
    whole = mirrored_whole if variant.half else SurfaceMesh
    surface = whole(vertices, triangles, notes=notes)
    return panelled(surface, n_panels, folds=True) if variant.smooth else surface


def through_file(vertices, triangles, kind: str):
    """Written as STL, text or binary, and read again."""
    import trimesh

    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "body.stl"
        mesh.export(path, file_type="stl_ascii" if kind == "text" else "stl")
        return load_triangles(path)


def tug(panel_length: float, rounds: int):
    """Right half of the tug, m, with small panels where holes will be cut."""
    whole = loft_stations(read_stations(TABLE), panel_length, aft=1.0)
    for k in range(rounds):
        reach = 0.16 / 1.5**k
        near = np.zeros(whole.n_panels, dtype=bool)
        for place in (on_skin(whole, SIDE), on_skin(whole, TOP)):
            near |= np.linalg.norm(whole.centroids - place, axis=1) < reach
        whole = refined(whole, near)[0]
    half = whole.triangles[: whole.n_solved]
    return used_only(np.array(whole.vertices), np.array(half))


def on_skin(surface, place):
    """Nearest vertex to a place, (3,) m."""
    return surface.vertices[cKDTree(surface.vertices).query(place)[1]]


def sphere(level):
    """Unit sphere as an icosphere."""
    import trimesh

    mesh = trimesh.creation.icosphere(subdivisions=level)
    return np.array(mesh.vertices), np.array(mesh.faces)


def ellipsoid(level):
    """Ellipsoid of semi-axes 1.5, 0.5 and 0.6 m."""
    vertices, triangles = sphere(level)
    return vertices * [1.5, 0.5, 0.6], triangles


def rounded_box(level):
    """Box of 2.4 x 1.0 x 0.8 m with edges rounded by superquadric power 8."""
    vertices, triangles = sphere(level)
    size = (np.abs(vertices) ** 8).sum(axis=1, keepdims=True) ** (1 / 8)
    return vertices / size * [1.2, 0.5, 0.4], triangles


def capsule(level):
    """Cylinder of radius 0.4 m with half spheres at both ends, 2.4 m long."""
    vertices, triangles = sphere(level)
    along = np.sign(vertices[:, 0]) * 0.8 * np.minimum(1.0, 3.0 * np.abs(vertices[:, 0]))
    return 0.4 * vertices + along[:, None] * [1.0, 0.0, 0.0], triangles


def flipped(triangles, share, random):
    """A share of the triangles turned over."""
    chosen = random.random(len(triangles)) < share
    return np.where(chosen[:, None], triangles[:, [0, 2, 1]], triangles)


def soup(vertices, triangles):
    """Every triangle with three vertices of its own."""
    return vertices[triangles].reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3)


def holed(vertices, triangles, place, diameter):
    """Triangles that lie within a ball taken out."""
    centre = vertices[cKDTree(vertices).query(place)[1]]
    inside = np.linalg.norm(vertices - centre, axis=1) <= 0.5 * diameter
    return vertices, triangles[~inside[triangles].all(axis=1)]


def pinched(vertices, triangles, place):
    """Two holes that touch at the vertex next to a place: opposite triangles taken out."""
    vertex = cKDTree(vertices).query(place)[1]
    around = np.flatnonzero((triangles == vertex).any(axis=1))
    first = around[0]
    apart = [k for k in around if len(np.intersect1d(triangles[k], triangles[first])) == 1]
    return vertices, np.delete(triangles, [first, apart[len(apart) // 2]], axis=0)


def cracked(vertices, triangles, station, gap):
    """Skin torn open by a gap along the edges next to a station."""
    behind = vertices[triangles].mean(axis=1)[:, 0] > station
    moved, image = used_only(vertices, triangles[behind])
    front, kept = used_only(vertices, triangles[~behind])
    both = np.vstack([front, moved + np.array([gap, 0.0, 0.0])])
    return both, np.vstack([kept, image + len(front)])


def with_junctions(vertices, triangles, station):
    """Torn at a station; edges on the front side divided at points the rear does not have."""
    vertices, triangles = cracked(vertices, triangles, station, 0.0)
    lone = edge_table(len(vertices), triangles).lone
    lone = lone[np.unique(lone // 3, return_index=True)[1]]
    ends = half_edge_ends(triangles, lone)
    front = len(np.unique(triangles[vertices[triangles].mean(axis=1)[:, 0] <= station]))
    seam = (ends < front).all(axis=1) & (vertices[ends][:, :, 1] != 0.0).any(axis=1)
    middle = vertices[ends[seam]].mean(axis=1)
    names = len(vertices) + np.arange(len(middle))
    divided = lone[seam] // 3
    third = triangles[divided, (lone[seam] % 3 + 2) % 3]
    a, b = ends[seam].T
    parts = [np.stack([a, names, third], axis=1), np.stack([names, b, third], axis=1)]
    kept = np.delete(triangles, divided, axis=0)
    return np.vstack([vertices, middle]), np.concatenate([kept, *parts])


def with_wall(vertices, triangles, station):
    """A wall across the body that hangs on the ring of vertices next to a station."""
    behind = vertices[triangles].mean(axis=1)[:, 0] > station
    lone = edge_table(len(vertices), triangles[behind]).lone
    ends = half_edge_ends(triangles[behind], lone)
    ring = ends[(vertices[ends][:, :, 1] != 0.0).any(axis=1)]
    ring = ring[vertices[ring][:, :, 0].mean(axis=1) < station + 0.3]
    middle = vertices[ring].mean(axis=(0, 1)) * [1.0, 0.0, 1.0]
    wall = np.column_stack([ring[:, ::-1], np.full(len(ring), len(vertices))])
    return np.vstack([vertices, middle]), np.vstack([triangles, wall])


def with_fin(vertices, triangles, place):
    """One triangle that stands on an edge of the skin."""
    t = cKDTree(vertices[triangles].mean(axis=1)).query(place)[1]
    a, b, c = triangles[t]
    normal = np.cross(vertices[b] - vertices[a], vertices[c] - vertices[a])
    tip = vertices[[a, b]].mean(axis=0) + 0.05 * normal / np.linalg.norm(normal)
    return np.vstack([vertices, tip]), np.vstack([triangles, [[a, b, len(vertices)]]])


def with_inner(vertices, triangles, count, random):
    """Triangles inside that join edges of the skin to vertices far away."""
    chosen = random.choice(len(triangles), count, replace=False)
    far = random.choice(np.unique(triangles), count)
    inner = np.column_stack([triangles[chosen][:, :2], far])
    distinct = (inner[:, 0] != far) & (inner[:, 1] != far)
    return vertices, np.vstack([triangles, inner[distinct]])


def with_flat(vertices, triangles, chosen):
    """Edges divided on one side only, and the slits closed by triangles without area."""
    extra, points = [], []
    triangles = triangles.copy()
    for t in chosen:
        a, b, c = triangles[t]
        name = len(vertices) + len(points)
        points.append(0.4 * vertices[a] + 0.6 * vertices[b])
        triangles[t] = [a, name, c]
        extra += [[name, b, c], [a, b, name]]
    return np.vstack([vertices, points]), np.vstack([triangles, extra])


def with_needles(vertices, triangles, chosen):
    """Edges divided next to one end, so that needle triangles stand there."""
    mates = edge_table(len(vertices), triangles).mates
    triangles, points, extra = triangles.copy(), [], []
    for t in chosen:
        mate = mates[3 * t]
        if mate < 0:
            continue
        s, k = mate // 3, mate % 3
        a, b, c = triangles[t]
        d = triangles[s, (k + 2) % 3]
        name = len(vertices) + len(points)
        points.append(vertices[a] + 1e-4 * (vertices[b] - vertices[a]))
        triangles[t], triangles[s] = [name, b, c], [b, name, d]
        extra += [[a, name, c], [name, a, d]]
    return np.vstack([vertices, points]), np.vstack([triangles, extra])


def together(*bodies):
    """Several bodies in one surface."""
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in bodies)])
    triangles = [t + start for (_, t), start in zip(bodies, starts, strict=False)]
    return np.vstack([vertices for vertices, _ in bodies]), np.vstack(triangles)


def small_ball(place, radius, level=1):
    """A ball, as a screw or a scoop."""
    vertices, triangles = sphere(level)
    return radius * vertices + place, triangles


def ring_gap(vertices, triangles, station, width):
    """Parted round a station; the rim in front drawn back along the skin by `width`."""
    vertices, triangles = cracked(vertices, triangles, station, 0.0)
    ends = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    off = (vertices[ends][:, :, 1] != 0.0).any(axis=1)
    front = triangles[vertices[triangles].mean(axis=1)[:, 0] <= station]
    rim = np.intersect1d(ends[off], front)
    moved = vertices.copy()
    for vertex in rim:
        around = np.setdiff1d(front[(front == vertex).any(axis=1)], rim)
        back = vertices[around].mean(axis=0) - vertices[vertex]
        back[1] *= vertices[vertex, 1] != 0.0
        moved[vertex] += width * back / np.linalg.norm(back)
    return moved, triangles


def moebius():
    """A strip with one side."""
    n = 60
    angle = 2.0 * np.pi * np.arange(n) / n
    across = np.stack([np.cos(angle / 2) * np.cos(angle), np.cos(angle / 2) * np.sin(angle)], 1)
    across = 0.3 * np.column_stack([across, np.sin(angle / 2)])
    ring = np.column_stack([np.cos(angle), np.sin(angle), 0.0 * angle])
    a, b = np.arange(n), np.arange(n) + n
    c, d = np.append(a[1:], n), np.append(b[1:], 0)
    strip = np.concatenate([np.stack([a, c, b], axis=1), np.stack([c, d, b], axis=1)])
    return np.vstack([ring + across, ring - across]), strip


def plane_wall(vertices, triangles):
    """A half closed by a fan on y = 0."""
    ends = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    middle = vertices[np.unique(ends)].mean(axis=0)
    wall = np.column_stack([ends[:, ::-1], np.full(len(ends), len(vertices))])
    return np.vstack([vertices, middle]), np.vstack([triangles, wall])


def tug_variants(base, fine, noises=(0.5e-3, 1e-3, 2e-3)):
    """Damaged tugs, all of them right halves."""
    random = np.random.default_rng(11)
    v, t = base
    few = random.choice(len(t), 40, replace=False)
    apart = few[[k for k, f in enumerate(few) if not np.isin(t[few[:k]], t[f]).any()]]

    def tug_of(name, mesh, **more):
        return Variant(name, "tug", *mesh, half=True, **more)

    swapped = (("aft", "-z"), ("right", "+x"), ("up", "-y"))
    turned = v @ axis_matrix(dict(swapped))
    yield tug_of("clean", base)
    yield tug_of("clean, mm", (1e3 * v, t), unit="mm")
    yield tug_of("clean, inches", (v / 0.0254, t), unit="in")
    yield tug_of("axes turned", (turned, t), axes=swapped)
    yield tug_of("binary STL, mm", (1e3 * v, t), unit="mm", file="binary")
    yield tug_of("text STL, mm", (1e3 * v, t), unit="mm", file="text")
    yield tug_of("inside out", (v, t[:, ::-1]))
    yield tug_of("30 % turned over", (v, flipped(t, 0.3, random)))
    yield tug_of("exploded", soup(v, t))
    yield tug_of("exploded, 30 % turned", soup(v, flipped(t, 0.3, random)))
    yield tug_of("faces doubled", (v, np.vstack([t, t[few], t[few][:, [1, 0, 2]]])))
    yield tug_of("vertices doubled", (np.vstack([v, v]), np.where(t % 3 == 0, t + len(v), t)))
    yield tug_of("crack 0.1 mm", cracked(v, t, 0.62, 1e-4))
    yield tug_of("T-junctions", with_junctions(v, t, 0.62))
    for size in (0.01, 0.03, 0.05):
        spot = f"hole {size * 1e3:.0f} mm"
        yield tug_of(f"{spot}, side", holed(v, t, SIDE, size))
    yield tug_of("hole 50 mm, centre line", holed(v, t, TOP, 0.05))
    yield tug_of("two holes", holed(*holed(v, t, SIDE, 0.05), TOP, 0.03))
    yield tug_of("touching holes", pinched(v, t, SIDE))
    yield tug_of("hole 150 mm", holed(v, t, SIDE, 0.15), fault="150|14.|13. mm at STA")
    for noise in noises:
        rough = fine[0] + noise * random.normal(size=fine[0].shape)
        rough[:, 1] = np.where(fine[0][:, 1] == 0.0, 0.0, np.abs(rough[:, 1]))
        yield tug_of(f"noise {noise * 1e3:g} mm", (rough, fine[1]), smooth=5.0 * noise)
    yield tug_of("bulkhead", with_wall(v, t, 1.1))
    yield tug_of("fin", with_fin(v, t, SIDE))
    yield tug_of("inner faces", with_inner(v, t, 12, random))
    yield tug_of("loose screw", together(base, small_ball((0.5, 0.2, 0.0), 0.01)))
    yield tug_of("triangles without area", with_flat(v, t, apart))
    yield tug_of("needles", with_needles(v, t, apart))
    yield tug_of("ring gap 10 mm", ring_gap(v, t, 1.1, 0.01))
    yield tug_of("wall on BL 0", plane_wall(v, t))
    yield tug_of("scoop through skin", together(base, small_ball(SIDE, 0.08, 3)), fault="cross")
    ahead = v[t].mean(axis=1)[:, 0] < 5.0
    yield tug_of("rear missing", used_only(v, t[ahead]), fault="rear end is missing")
    broken = v.copy()
    broken[7] = np.nan
    yield tug_of("NaN", (broken, t), fault="not finite")
    yield tug_of("empty", (v[:0], t[:0]), fault="no triangles")


def body_variants(level):
    """Damaged general bodies, whole, small enough for their triangles to be less than a hole."""
    random = np.random.default_rng(12)
    bodies = {
        "ellipsoid": ellipsoid(level),
        "sphere": sphere(level),
        "rounded box": rounded_box(level),
        "capsule": capsule(level),
    }
    bodies = {name: (0.2 * v, t) for name, (v, t) in bodies.items()}
    for name, (v, t) in bodies.items():
        front = np.array([v[:, 0].min(), 0.0, 0.0])
        yield Variant("clean", name, v, t)
        yield Variant("exploded, 30 % turned", name, *soup(v, flipped(t, 0.3, random)))
        yield Variant("hole at the nose", name, *holed(v, t, front, 0.058))
    v, t = bodies["ellipsoid"]
    yield Variant("faces inside out doubled", "ellipsoid", v, np.vstack([t, t[:50, ::-1]]))
    away = (v + np.array([0.0, 3.0, 0.0]), t)
    yield Variant("two bodies", "ellipsoid", *together((v, t), away), fault="separate bodies")
    near = (v + np.array([0.03, 0.11, 0.02]), t)
    yield Variant("bodies that cross", "ellipsoid", *together((v, t), near), fault="cross")
    yield Variant("Moebius strip", "ellipsoid", *moebius(), fault="one side only")


class Judge:
    """Cp of the clean bodies, and how far others are from it."""

    def __init__(self, n_panels: int):
        self.n_panels = n_panels
        self.clean = {}

    def set_clean(self, variant: Variant):
        """Solve the clean body and keep Cp at its control points."""
        surface = pipeline(variant, self.n_panels)
        cp = solve(surface, [CONDITION]).cp[0]
        self.clean[variant.body] = surface, curved_panels(surface).points, cp

    def rms(self, variant: Variant) -> float:
        """Rms difference of Cp at the clean control points."""
        surface = pipeline(variant, self.n_panels)
        same, points, clean = self.clean[variant.body]
        if has_same_panels(surface, same):
            return 0.0
        panels = cKDTree(curved_panels(surface).points).query(points)[1]
        cp = point_operator(surface, points, panels) @ solve(surface, [CONDITION]).cp[0]
        return float(np.sqrt(np.mean((cp - clean) ** 2)))


def has_same_panels(surface, other) -> bool:
    """Do both have the same panels, in any order, to a part in 1e9 of their size?"""
    if surface.n_panels != other.n_panels:
        return False
    away, index = cKDTree(other.centroids).query(surface.centroids)
    alike = np.abs(surface.area_vectors - other.area_vectors[index]).max()
    once = len(np.unique(index)) == surface.n_panels
    return bool(once and max(away.max(), alike) <= 1e-9 * other.size.max())


def is_untouched(variant: Variant) -> bool:
    """Do the very arrays come back, and no notes?"""
    result = mended(variant.vertices, variant.triangles, open_at_plane=variant.half)
    return result[0] is variant.vertices and result[1] is variant.triangles and not result[2]


def judged(variant: Variant, judge: Judge) -> tuple[str, float, str]:
    """What became of a variant ("mended", "refused" or "wrong"), rms of Cp, the words said."""
    try:
        rms = judge.rms(variant)
    except SurfaceError as error:
        named = bool(variant.fault) and re.search(variant.fault, str(error)) is not None
        return ("refused" if named else "wrong"), np.nan, str(error)
    right = rms <= WANTED and not variant.fault
    return ("mended" if right else "wrong"), rms, ""


def main(quick=False):
    """Print one line for each variant; return how many were mended, refused and wrong."""
    judge = Judge(3000 if quick else 16000)
    base = tug(0.12 if quick else 0.07, 5)
    fine = base if quick else tug(0.015, 0)
    noises = () if quick else (0.5e-3, 1e-3, 2e-3)  # few panels are too rough to judge scans by
    counts = {"mended": 0, "refused": 0, "wrong": 0, "touched": 0, "worst": 0.0}
    for variant in (*tug_variants(base, fine, noises), *body_variants(3)):
        begin = time.perf_counter()
        if variant.name == "clean":
            judge.set_clean(variant)
            counts["touched"] += not is_untouched(variant)
        result, rms, words = judged(variant, judge)
        counts[result] += 1
        counts["worst"] = np.fmax(counts["worst"], rms)
        told = words[:150] if words else f"Cp within {rms:.4f} rms"
        seconds = time.perf_counter() - begin
        print(f"{variant.body:12s} {variant.name:26s} {result:8s} {seconds:5.1f} s  {told}")
    print(counts)
    return {name: float(value) for name, value in counts.items()}


if __name__ == "__main__":
    main()
