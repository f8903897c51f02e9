"""Small invented runs with something in every part of the results, each solved once per process."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.solving import solve_case
from tests.case.cooling_case import BODY, CORE, DUCT, FAN, LEAK
from tests.case.test_air_tables import PROPELLER, WING
from tests.case.test_combinations_table import NEEDED
from tests.cases import changed, write_case

PORT = """
[[opening]]
name = "port"
use = "static port"
kind = "flush hole"
centre = ["0.5 m", "484 mm", "0 m"]
length = "20 mm"
width = "20 mm"

[ground]
height = "1.2 m"
"""
FLOW = 'flow = { climb = "0.2 m3/s" }\nrecovery = { value = "0.8"'
NAMES = changed('name = "climb"', 'name = "climb, \\"hot\\" <& größer>"', BODY)
TEXT = changed(
    'recovery = { value = "0.8"', FLOW.replace("climb", '"climb, \\"hot\\" <& größer>"'), NAMES
)
TEXT += CORE + DUCT + FAN + LEAK + PROPELLER + WING + NEEDED + PORT
"""With network, propeller, wing, ground, combinations, static port and a name hard to write."""


@cache
def contents():
    """RunContents of a whole run of TEXT."""
    with TemporaryDirectory() as folder:
        return solve_case(prepare_case(read_case(write_case(Path(folder), TEXT))))
