"""What a number of a plan may be: impossible input is told by the name of its parameter."""

from edgemon.errors import ParameterError

_UNITS = {"a": "A", "ah": "Ah", "s": "s", "v": "V", "m": "m", "hz": "Hz", "db": "dB", "dbm": "dBm", "dbi": "dBi"}
"""Unit by the end of a parameter's name."""


def within(value: float, low: float, high: float, where: str) -> float:
    """Give a value back that lies between two bounds, both included.

    Raises
    ------
    ParameterError
        It does not, or is no number; its `where` is the name of the parameter.
    """
    if not low <= value <= high:
        unit = _UNITS.get(where.rpartition("_")[2], "")
        raise ParameterError(f"{value:g} is not possible: {low:g} to {high:g} {unit}".rstrip(), where)
    return value
