"""The surface with its fields in open formats that general-purpose programs read."""

from panelcp.report.exports.glb import glb_bytes, write_glb
from panelcp.report.exports.vtu import vtu_bytes, write_vtu

__all__ = ["glb_bytes", "vtu_bytes", "write_glb", "write_vtu"]
