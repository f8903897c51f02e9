"""Cooling-air design for a liquid-cooled piston engine under a cowl of your own shape.

Public names are loaded when they are first used, so that importing the package is quick.
"""

from importlib import import_module

__version__ = "0.1.0"

_HOMES = {
    "CaseError": "panelcp.errors",
    "FlightCondition": "panelcp.onset",
    "FlowError": "panelcp.errors",
    "NoCutZone": "panelcp.placement.candidates",
    "Opening": "panelcp.surface.opening",
    "OpeningRanking": "panelcp.placement.ranking",
    "PanelcpError": "panelcp.errors",
    "PlacementError": "panelcp.errors",
    "QuantityError": "panelcp.errors",
    "SearchRegion": "panelcp.placement.candidates",
    "SurfaceError": "panelcp.errors",
    "SurfaceFlow": "panelcp.flow.superposition",
    "SurfaceMesh": "panelcp.surface.mesh",
    "UncertainValue": "panelcp.quantity",
    "UnitSolutions": "panelcp.panels.solving",
    "check_surface": "panelcp.surface.checking",
    "gauge_pressure_at": "panelcp.flow.off_body",
    "lay_opening": "panelcp.surface.opening",
    "loft_stations": "panelcp.surface.stations",
    "parse_quantity": "panelcp.units",
    "prepare_case": "panelcp.case.running",
    "rank_openings": "panelcp.placement.ranking",
    "read_case": "panelcp.case.reading",
    "read_stations": "panelcp.surface.stations",
    "read_surface": "panelcp.surface.reading",
    "run_case": "panelcp.case.running",
    "search": "panelcp.placement.candidates",
    "solve": "panelcp.flow.superposition",
    "solve_units": "panelcp.panels.solving",
    "superpose": "panelcp.flow.superposition",
    "velocity_at": "panelcp.flow.off_body",
}

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604


def __getattr__(name: str):
    if name in _HOMES:
        value = getattr(import_module(_HOMES[name]), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'panelcp' has no attribute {name!r}")


def __dir__():
    return sorted(__all__)
