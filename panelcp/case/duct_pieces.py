"""The pieces of a duct as a case gives them: bends, diffusers, screens, and what they lose."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from panelcp.case.duct_sections import SIZE, Section, read_section, section_entries
from panelcp.case.schema import Entry, band, choice, inline_table, line, quantity, true_or_false
from panelcp.cooling import ducts, vents
from panelcp.cooling.core_laws import DropLaw
from panelcp.cooling.diffusers import SHAPES, diffuser_loss, stall_warning, trumpet_loss
from panelcp.cooling.inlets import rounded_entrance_loss
from panelcp.cooling.installation import Friction, Loss
from panelcp.errors import PanelcpError, QuantityError
from panelcp.quantity import UncertainValue

SLOW, FAST = 4.0, 10.0
"""m/s, face velocities between which the resistance behind a trumpet is taken (common practice)."""
LARGEST_RATIO = 10.0
"""Area ratio up to which the laws of diffusers hold."""
SCREENS = ("wire", "perforated", "grille", "rounded grille")
WHOLE_HEAD = UncertainValue(
    1.0, None, None, "derived", "the head of a jet into a wide room is lost", "number"
)

_ANGLE = quantity("angle", above=0.0, most=180.0)
_LOSS = band("number", least=0.0, most=1e4)
_SHARE = quantity("fraction", above=0.0, most=1.0)
_TWO = {**section_entries("_in"), **section_entries("_out")}


@dataclass(frozen=True)
class CoreAhead:
    """What a trumpet needs to know of the core behind it.

    Attributes
    ----------
    face_area, height : m2 and m
    drop : DropLaw
    """

    face_area: float
    height: float
    drop: DropLaw

    @property
    def loss(self) -> float:
        """K on the face velocity, the mean of those at `SLOW` and `FAST`."""
        law = self.drop
        per_speed = 0.5 * (1.0 / SLOW + 1.0 / FAST)
        return 2.0 * (law.linear * per_speed + law.square) / law.density


@dataclass(frozen=True)
class Piece:
    """One piece that was read.

    Attributes
    ----------
    part : Loss or Friction
    inlet, outlet : Section at both ends
    """

    part: Loss | Friction
    inlet: Section
    outlet: Section


def _straight(values, cores, core_ahead) -> Piece:
    section = read_section(values)
    part = Friction(
        f"straight, {1e3 * values['length']:.4g} mm",
        values["length"],
        section.diameter,
        section.area,
        values["roughness"],
        section.aspect,
    )
    if part.roughness > 0.05 * part.diameter:
        raise QuantityError("roughness is more than 5 % of the (hydraulic) diameter")
    return Piece(part, section, section)


def _bend(values, cores, core_ahead) -> Piece:
    section = read_section(values)
    loss = ducts.bend_loss(values["angle"], values["radius"] / section.diameter)
    return _one_section(f"bend {values['angle']:g} deg", loss, section)


def _mitre(values, cores, core_ahead) -> Piece:
    loss = ducts.mitre_loss(values["angle"], values["vanes"])
    vanes = ", with vanes" if values["vanes"] else ""
    return _one_section(f"mitre bend {values['angle']:g} deg{vanes}", loss, read_section(values))


def _one_section(what: str, loss: UncertainValue, section: Section, backward=None) -> Piece:
    return Piece(Loss(what, loss, section.area, backward), section, section)


def _contraction(values, cores, core_ahead) -> Piece:
    inlet, outlet = read_section(values, "_in"), read_section(values, "_out")
    ratio = _ratio(outlet, inlet, "area_in must be larger than area_out")
    angle = values["angle"]
    loss = ducts.contraction_loss(1.0 / ratio, angle)
    part = Loss(
        f"contraction, area ratio {1.0 / ratio:.3g}", loss, outlet.area, _widening(ratio, angle)
    )
    return Piece(part, inlet, outlet)


def _ratio(small: Section, large: Section, advice: str) -> float:
    if not large.area > small.area * (1.0 + 1e-9):
        raise QuantityError(
            f"the sections have {1e4 * large.area:.4g} and {1e4 * small.area:.4g} cm2; {advice}"
        )
    return large.area / small.area


def _widening(ratio: float, angle: float) -> UncertainValue:
    """K of flow through a contraction the wrong way, on the head in the narrow end."""
    if angle < 180.0 and ratio <= LARGEST_RATIO:
        return diffuser_loss(ratio, angle)
    return _step(ratio)


def _step(ratio: float) -> UncertainValue:
    source = "step outward, even flow ahead: Borda and Carnot"
    value = float(ducts.sudden_expansion_loss(ratio))
    return UncertainValue(value, None, None, "derived", source, "number")


def _narrowing(ratio: float, angle: float = 180.0) -> UncertainValue:
    """K of flow through a diffuser the wrong way, on the head in the narrow end."""
    return ducts.contraction_loss(1.0 / ratio, min(max(angle, 10.0), 180.0))


def _diffuser(values, cores, core_ahead) -> Piece:
    inlet, outlet = read_section(values, "_in"), read_section(values, "_out")
    ratio = _ratio(inlet, outlet, "area_out must be larger than area_in")
    shape = values["shape"] or _shape(inlet, outlet)
    angle = _diffuser_angle(values, inlet, outlet, shape)
    loss = diffuser_loss(ratio, angle, shape, duct_follows=values["duct_follows"])
    part = Loss(
        f"{shape} diffuser, area ratio {ratio:.3g}, {angle:.3g} deg",
        loss,
        inlet.area,
        _narrowing(ratio, angle),
        stall_warning(round(ratio, 2), round(angle, 1), shape),
    )
    return Piece(part, inlet, outlet)


def _constant_side(inlet: Section, outlet: Section) -> tuple[float, float] | None:
    """Heights at both ends of a rectangle that opens in one direction alone."""
    if inlet.width is None or outlet.width is None:
        return None
    if math.isclose(inlet.width, outlet.width, rel_tol=1e-6):
        return inlet.height, outlet.height
    if math.isclose(inlet.height, outlet.height, rel_tol=1e-6):
        return inlet.width, outlet.width
    return None


def _shape(inlet: Section, outlet: Section) -> str:
    """Shape of a diffuser that does not say it."""
    if inlet.width is None or outlet.width is None:
        return "conical"
    return "plane" if _constant_side(inlet, outlet) else "pyramidal"


def _diffuser_angle(values, inlet: Section, outlet: Section, shape: str) -> float:
    """Included angle, deg, given or from the length."""
    angle, length = values["angle"], values["length"]
    if (angle is None) == (length is None):
        raise QuantityError("give either the length of the diffuser or its included angle")
    if angle is not None:
        return angle
    if shape == "plane":
        heights = _constant_side(inlet, outlet)
        if heights is None:
            raise QuantityError(
                "the length of a plane diffuser tells its angle only with width_in, height_in, "
                "width_out and height_out, one of them the same at both ends; or give its angle"
            )
        opening = heights[1] - heights[0]
    elif shape == "pyramidal":
        opening = math.sqrt(outlet.area) - math.sqrt(inlet.area)
    else:
        opening = math.sqrt(4.0 / math.pi) * (math.sqrt(outlet.area) - math.sqrt(inlet.area))
    return 2.0 * math.degrees(math.atan(0.5 * opening / length))


def _trumpet(values, cores: Mapping[str, CoreAhead], core_ahead: str | None) -> Piece:
    name = values["core"] or core_ahead
    inlet = read_section(values, "_in")
    if name is None:
        raise QuantityError("a trumpet stands ahead of a core: give core, or a duct that leads to")
    if name not in cores:
        known = ", ".join(map(repr, cores)) or "none"
        raise QuantityError(f"core: {name!r} is no [[core]]; known: {known}")
    core = cores[name]
    ratio = core.face_area / inlet.area
    if ratio <= 1.0:
        raise QuantityError(
            f"the face of {name} has {1e4 * core.face_area:.4g} cm2, the trumpet "
            f"{1e4 * inlet.area:.4g} cm2 at its narrow end; use a contraction or a straight piece"
        )
    loss = trumpet_loss(ratio, core.loss, values["length"] / core.height)
    part = Loss(
        f"trumpet ahead of {name}, area ratio {ratio:.3g}", loss, inlet.area, _narrowing(ratio)
    )
    return Piece(part, inlet, Section.round(core.face_area))


def _expansion(values, cores, core_ahead) -> Piece:
    inlet, outlet = read_section(values, "_in"), read_section(values, "_out")
    ratio = _ratio(inlet, outlet, "area_out must be larger than area_in")
    what = f"sudden expansion, area ratio {ratio:.3g}"
    part = Loss(what, _step(ratio), inlet.area, _narrowing(ratio))
    return Piece(part, inlet, outlet)


def _screen(values, cores, core_ahead) -> Piece:
    share, kind = values["open_share"], values["screen"]
    if share >= 1.0:
        raise QuantityError("open_share is 100 %: such a screen resists nothing; leave it out")
    loss = {
        "wire": vents.wire_screen_loss,
        "perforated": vents.perforated_plate_loss,
        "grille": _grille,
        "rounded grille": vents.rounded_grille_loss,
    }[kind](share)
    what = f"{'screen' if kind == 'wire' else kind}, {100.0 * share:.3g} % open"
    return _one_section(what, loss, read_section(values))


def _grille(share: float) -> UncertainValue:
    value = float(vents.square_grille_loss(share))
    source = "square-edged bars, R. D. Blevins, 1984, as a library gives it; other laws: 35 %"
    return UncertainValue(value, 0.8 * value, 1.35 * value, "memory", source, "number")


def _louvre(values, cores, core_ahead) -> Piece:
    angle = values["blade_angle"]
    loss = vents.discharge_to_loss(vents.COWL_LOUVRE) if angle is None else vents.louvre_loss(angle)
    what = "pressed louvres" if angle is None else f"louvre, blades at {angle:g} deg"
    return _one_section(what, loss, read_section(values))


def _hole(values, cores, core_ahead) -> Piece:
    loss = vents.discharge_to_loss(values["discharge"])
    return _one_section("hole", loss, read_section(values))


def _entrance(values, cores, core_ahead) -> Piece:
    section = read_section(values)
    loss = rounded_entrance_loss(values["edge_radius"] / section.diameter)
    return _one_section("entrance", loss, section, WHOLE_HEAD)


def _own(values, cores, core_ahead) -> Piece:
    return _one_section(values["what"], values["loss"], read_section(values), values["backward"])


_ONE = section_entries()
PIECES: dict[str, tuple[dict[str, Entry], Callable]] = {
    "straight": (
        {
            **_ONE,
            "length": Entry(SIZE, required=True),
            "roughness": Entry(quantity("length", least=0.0), default=0.0),
        },
        _straight,
    ),
    "bend": (
        {**_ONE, "angle": Entry(_ANGLE, required=True), "radius": Entry(SIZE, required=True)},
        _bend,
    ),
    "mitre bend": (
        {
            **_ONE,
            "angle": Entry(_ANGLE, required=True),
            "vanes": Entry(true_or_false, default=False),
        },
        _mitre,
    ),
    "contraction": ({**_TWO, "angle": Entry(_ANGLE, default=180.0)}, _contraction),
    "diffuser": (
        {
            **_TWO,
            "shape": Entry(choice(*SHAPES)),
            "angle": Entry(_ANGLE),
            "length": Entry(SIZE),
            "duct_follows": Entry(true_or_false, default=False),
        },
        _diffuser,
    ),
    "trumpet": (
        {
            **section_entries("_in"),
            "length": Entry(SIZE, required=True),
            "core": Entry(line),
        },
        _trumpet,
    ),
    "sudden expansion": (_TWO, _expansion),
    "screen": (
        {
            **_ONE,
            "open_share": Entry(_SHARE, required=True),
            "screen": Entry(choice(*SCREENS), default="wire"),
        },
        _screen,
    ),
    "louvre": ({**_ONE, "blade_angle": Entry(quantity("angle", least=0.0))}, _louvre),
    "hole": (
        {
            **_ONE,
            "discharge": Entry(band("fraction", least=1e-3, most=1.0), default=vents.SHARP_OPENING),
        },
        _hole,
    ),
    "entrance": (
        {**_ONE, "edge_radius": Entry(quantity("length", least=0.0), default=0.0)},
        _entrance,
    ),
    "loss": (
        {
            **_ONE,
            "loss": Entry(_LOSS, required=True),
            "backward": Entry(_LOSS),
            "what": Entry(line, default="own loss"),
        },
        _own,
    ),
}
"""Kind of a piece -> its entries and what makes it."""


def read_piece(raw, cores: Mapping[str, CoreAhead], core_ahead: str | None = None) -> Piece:
    """One piece of a duct.

    Parameters
    ----------
    raw : as parsed: a table in braces with kind and sizes
    cores : name -> CoreAhead, for trumpets
    core_ahead : name of the core that the duct leads to, or None

    Returns
    -------
    Piece

    Raises
    ------
    QuantityError : all that is wrong with it

    Examples
    --------
    >>> piece = read_piece({"kind": "mitre bend", "angle": "90 deg", "diameter": "100 mm"}, {})
    >>> piece.part.what, round(piece.part.coefficient.value, 3)
    ('mitre bend 90 deg', 1.118)
    """
    if not isinstance(raw, dict):
        raise QuantityError(f'{raw!r} is no piece; write {{ kind = "bend", angle = "45 deg" }}')
    kind = raw.get("kind")
    name = f"{kind}: " if isinstance(kind, str) else ""
    try:
        choice(*PIECES)(kind)
    except QuantityError as error:
        raise QuantityError(f"kind: {error}" if kind is not None else "kind is missing") from None
    entries, make = PIECES[kind]
    try:
        values = inline_table({"kind": Entry(line), **entries})(raw)
        return make(values, cores, core_ahead)
    except PanelcpError as error:
        raise QuantityError(f"{name}{error}") from None


def ends_of(pieces: tuple[Piece, ...], kinds: list[str], start: str | None, end: str | None):
    """Losses that a duct has where it begins or ends in a wide room, at either end.

    Parameters
    ----------
    pieces, kinds : of the duct, and their kinds
    start, end : name of the wide room (plenum, bay, outside) at each end, None where there is none

    Returns
    -------
    first, last : of Loss, or None where the piece there already has them
    """
    first = last = None
    sharp = rounded_entrance_loss(0.0)
    if start is not None and kinds[0] in _OPEN_START:
        area = pieces[0].inlet.area
        first = Loss(f"sharp entrance from {start}", sharp, area, WHOLE_HEAD)
    if end is not None and kinds[-1] in _OPEN_END:
        area = pieces[-1].outlet.area
        last = Loss(f"head of the jet into {end}", WHOLE_HEAD, area, sharp)
    return first, last


_OPEN_START = ("straight", "bend", "mitre bend", "diffuser", "sudden expansion", "trumpet")
_OPEN_END = (*_OPEN_START, "contraction", "entrance", "screen")
