"""Cooling-air design for a liquid-cooled piston engine under a cowl of your own shape."""

__version__ = "0.1.0"
