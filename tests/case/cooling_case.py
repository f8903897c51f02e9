"""A small invented case with a cooling installation, as text to be changed."""

import pytest

from panelcp.case.reading import read_case
from panelcp.errors import CaseError
from tests.cases import changed

BODY = changed('beta = "10 deg"\n', 'beta = "10 deg"\npower = "50 %"\n')
BODY = changed(
    'name = "parked"\ntrue_airspeed = "0 kt"\n',
    'name = "idle"\nground_speed = "0 kt"\npower = "5 %"\ndecides = false\n\n'
    '[[condition]]\nname = "parked"\ntrue_airspeed = "0 kt"\npower = "0 %"\n',
    BODY,
)
"""The small body with power in every condition: climb, sideslip, idle on the ground, parked."""

CORE = """
[[core]]
name = "radiator"
cools = "coolant"
width = "400 mm"
height = "300 mm"
drop_test = [["4 m/s", "150 Pa"], ["6 m/s", "270 Pa"], ["8 m/s", "430 Pa"]]
conductance = { value = "900 W/K", air_flow = "1.0 kg/s" }
flow = "1.5 kg/s"
"""
DUCT = """
[[duct]]
name = "chin duct"
from = "nose"
to = "radiator"
pieces = [ { kind = "mitre bend", angle = "90 deg", diameter = "80 mm" } ]
"""
OIL = """
[[core]]
name = "oil cooler"
cools = "oil"
face_area = "400 cm2"
drop_reading = ["8 m/s", "600 Pa"]
effectiveness = { value = 0.5, air_flow = "0.3 kg/s" }
flow = "20 l/min"
"""
FAN = """
[[fan]]
name = "fan"
behind = "radiator"
curve = [["0 m3/s", "250 Pa"], ["0.3 m3/s", "180 Pa"], ["0.6 m3/s", "0 Pa"]]
diameter = "280 mm"
"""
LEAK = """
[[leak]]
name = "seal"
from = "radiator"
to = "bay"
area = { value = "12 cm2", low = "6 cm2", high = "20 cm2" }
"""
OPENINGS = """
[[opening]]
name = "left cheek"
use = "inlet"
kind = "forward-facing"
centre = ["-1.9 m", "-100 mm", "0 m"]
length = "100 mm"
width = "80 mm"

[[opening]]
name = "top vent"
use = "exit"
kind = "flush hole"
centre = ["-1 m", "0 m", "433 mm"]
length = "120 mm"
width = "200 mm"
"""
WHOLE = CORE + DUCT


def write(folder, text):
    """The case file alone: reading it needs no mesh."""
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return path


def installation(folder, text=WHOLE, body=BODY):
    """Installation of a case of these tables."""
    return read_case(write(folder, body + text)).installation


def mistakes(folder, text, body=BODY):
    """What is said of a case that cannot be read."""
    with pytest.raises(CaseError) as error:
        read_case(write(folder, body + text))
    return str(error.value)


def only_mistake(folder, text, body=BODY):
    """The one mistake of a case, without the title."""
    title, *lines = mistakes(folder, text, body).split("\n")
    assert title == "case.toml: 1 mistake", lines
    return lines[0].strip()


def line_in(part, text, body=BODY):
    """Line of the case that holds a text of the tables."""
    rows = (body + text).split("\n")
    return next(n for n, row in enumerate(rows, 1) if part in row and n > body.count("\n"))
