"""The one family of exceptions for mistakes in what the user gave.

Only these are turned into a single line on the terminal; any other exception is a
fault of the program and keeps its traceback.
"""


class PanelcpError(ValueError):
    """Base of all errors that a change of the input can cure."""


class QuantityError(PanelcpError):
    """A number, unit or band that cannot be read."""


class SurfaceError(PanelcpError):
    """A surface that cannot be read, repaired or used for panels."""


class CaseError(PanelcpError):
    """A case file with mistakes; the message lists all of them."""


class FlowError(PanelcpError):
    """A flow that cannot be solved, or a condition that makes no sense."""


class PlacementError(PanelcpError):
    """Openings or searches that leave nothing to compare."""


class NetworkError(PanelcpError):
    """A cooling network that cannot work; the message lists all that is wrong with it."""
