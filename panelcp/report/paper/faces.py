"""The faces of the report, and a PDF that has them: the library measures and writes with the same.

fpdf2 writes the file. It is imported where a report is laid, not before.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fpdf import FPDF

FILES = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
"""Plain and bold face, as matplotlib ships them."""


@cache
def face_path(bold: bool) -> Path:
    """The file of a face."""
    from matplotlib import get_data_path

    return Path(get_data_path()) / "fonts" / "ttf" / FILES[bold]


def new_file() -> FPDF:
    """A PDF without pages, in points, with both faces."""
    from fpdf import FPDF

    file = FPDF(unit="pt")
    for bold in FILES:
        file.add_font("report", _style(bold), face_path(bold))
    return file


def take_face(file: FPDF, size: float, bold: bool):
    """Words that follow are of this size, in points, in the plain or the bold face."""
    file.set_font("report", _style(bold), size)


def _style(bold: bool) -> str:
    return "B" if bold else ""
