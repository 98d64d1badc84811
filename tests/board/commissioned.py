"""The plant half way through its commissioning: every kind of stand, long names and long words."""

from edgemon.model.commission import CheckView, CommissionRow, CommissionView, SignView, Stand
from tests.support import sites

_DONE = (
    CheckView("sensor heard", Stand.DONE, "s-0001 since 2026-02-27T09:12:44.000Z"),
    CheckView("data quality", Stand.DONE, "good"),
    CheckView("levels sent", Stand.DONE, "s-0001 axis x: all 3 levels with a limit"),
    CheckView("signal", Stand.DONE, "-71 dBm, 19 dB above weak"),
    CheckView("battery", Stand.DONE, "97 %"),
    CheckView("limits set", Stand.DONE, "velocity_rms from ISO 20816-3 group 2, rigid: zone boundaries B/C and C/D"),
    CheckView("response text", Stand.DONE, "4 alarms"),
    CheckView("baseline", Stand.DONE, "approved by engineer"),
    CheckView("speed", Stand.DONE, "2968 r/min, measured"),
    CheckView("bearing", Stand.DONE, "9 rolling elements"),
    CheckView("alarm proven", Stand.DONE, "2026-03-01T14:03:11.000Z by engineer, acknowledged by operator"),
    CheckView("upstream", Stand.DONE, "delivered to historian, maintenance"),
)
_OPEN = {
    "sensor heard": "s-0001: never",
    "data quality": "no data yet",
    "levels sent": "nothing of s-0001 axis x yet",
    "signal": "-93 dBm, 3 dB below weak",
    "battery": "not told",
    "response text": "none for velocity_rms alert, velocity_rms alarm",
    "baseline": "velocity_rms is being learnt",
    "bearing": "geometry not given",
    "alarm proven": "alarm limit not reached, not taken by annunciator horn, nobody acknowledged it",
    "upstream": "historian is away",
}
_NEVER = tuple(_OPEN)
LACKS = ((), ("alarm proven",), ("signal", "alarm proven"), _NEVER, ("baseline", "bearing", "alarm proven"))
"""What is open of the points, in turn."""


SIGNS = (
    SignView(sites.NOW - 3600.0, "a.lund", "panel", "tapped: the right sensor"),
    None,
    SignView(sites.NOW - 1800.0, "a.lund", "panel", "the antenna is to be moved in week 12", ("signal", "alarm proven")),
    None,
    SignView(
        *(sites.NOW - 7200.0, "a.lund"),
        withdrawn_at=sites.NOW - 600.0,
        withdrawn_because="the plant file has changed: sensor s-0117, signed for s-0017; axis z, signed for x",
    ),
)
"""Who signed the points off, in turn."""


def checks(lacks: tuple[str, ...]) -> tuple[CheckView, ...]:
    found = [CheckView(one.name, Stand.OPEN, _OPEN[one.name]) if one.name in lacks else one for one in _DONE]
    if lacks == ("signal", "alarm proven"):
        found[-1] = CheckView("upstream", Stand.NOT_NEEDED, "none is set up")
    return tuple(sorted(found, key=lambda one: list(Stand).index(one.stand)))


def view() -> CommissionView:
    points = [(machine, point) for machine in sites.snapshot().machines for point in machine.points]
    rows = (
        CommissionRow(
            *(machine.id, machine.name, machine.area, point.point, point.name, checks(LACKS[place % len(LACKS)])),
            *(point.sensor, "x", SIGNS[place % len(SIGNS)]),
        )
        for place, (machine, point) in enumerate(points)
    )
    return CommissionView(sites.NOW, tuple(rows))
