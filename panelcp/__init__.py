"""Cooling-air design for a liquid-cooled piston engine under a cowl of your own shape.

Public names are loaded when they are first used, so that importing the package is quick.
"""

import os
from importlib import import_module
from pathlib import Path

__version__ = "0.1.0"

_HOMES = {
    "CaseError": "panelcp.errors",
    "FlightCondition": "panelcp.onset.conditions",
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
    "CoolingResult": "panelcp.cooling.results",
    "check_surface": "panelcp.surface.checking",
    "cool_case": "panelcp.case.cooling_run",
    "gauge_pressure_at": "panelcp.flow.off_body",
    "lay_opening": "panelcp.surface.opening",
    "loft_stations": "panelcp.surface.stations",
    "marking_template": "panelcp.case.templating",
    "parse_quantity": "panelcp.units",
    "map_scale": "panelcp.report.map_plots",
    "plot_budget": "panelcp.report.plots",
    "plot_centre_line": "panelcp.report.section_plots",
    "plot_colour_bar": "panelcp.report.map_plots",
    "plot_condition_ratios": "panelcp.report.plots",
    "plot_contributors": "panelcp.report.plots",
    "plot_curve": "panelcp.report.plots",
    "plot_fan_points": "panelcp.report.plots",
    "plot_margins": "panelcp.report.plots",
    "plot_pressure_map": "panelcp.report.map_plots",
    "plot_ranking": "panelcp.report.plots",
    "plot_section": "panelcp.report.section_plots",
    "plot_sweep": "panelcp.report.plots",
    "plot_vent_map": "panelcp.report.map_plots",
    "MeasuredPoint": "panelcp.report.cut_points",
    "prepare_case": "panelcp.case.preparing",
    "pressures_case": "panelcp.case.pressures_run",
    "rank_openings": "panelcp.placement.ranking",
    "rank_case": "panelcp.case.side_by_side",
    "rank_side_by_side": "panelcp.case.side_by_side",
    "read_case": "panelcp.case.reading",
    "read_stations": "panelcp.surface.stations",
    "read_surface": "panelcp.surface.intake",
    "run_case": "panelcp.case.running",
    "search": "panelcp.placement.candidates",
    "solve": "panelcp.flow.solutions",
    "solve_cooling": "panelcp.cooling.solving",
    "solve_units": "panelcp.panels.solving",
    "superpose": "panelcp.flow.superposition",
    "velocity_at": "panelcp.flow.off_body",
    "write_glb": "panelcp.report.exports",
    "write_report": "panelcp.report.paper.writing",
    "write_vtu": "panelcp.report.exports",
}

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604


def _give_the_compiler_a_place():
    """Where neither the package nor the user's cache can be written, compile for this process.

    The compiler refuses to work without a place for its results.
    """
    cache = Path(os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")).absolute()
    places = [Path(__file__).parent, next(p for p in (cache, *cache.parents) if p.exists())]
    if os.name != "posix" or any(os.access(place, os.W_OK) for place in places):
        return
    import atexit
    import shutil
    import tempfile

    folder = tempfile.mkdtemp(prefix="panelcp-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    os.environ["NUMBA_CACHE_DIR"] = folder


if "NUMBA_CACHE_DIR" not in os.environ:
    _give_the_compiler_a_place()


def __getattr__(name: str):
    if name in _HOMES:
        value = getattr(import_module(_HOMES[name]), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'panelcp' has no attribute {name!r}")


def __dir__():
    return sorted(__all__)
