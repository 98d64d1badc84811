"""Pairs of bars: what two sets of limits raise at each point, one picture for all."""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from edgemon.model.text import clean
from edgemon.report.document import Tone
from edgemon.report.plots import DPI, TONES, WIDTH_IN

ROW_IN = 0.3


@dataclass(frozen=True, slots=True)
class Pair:
    """Alerts and alarms a month at one point, as it is and as tried."""

    label: str
    before: tuple[float, float]
    after: tuple[float, float]


def picture(pairs: Sequence[Pair], kind: str) -> bytes:
    """Draw the pairs, the first at the top.

    Parameters
    ----------
    pairs : sequence of Pair
        At least one.
    kind : str
        `png` or `svg`.
    """
    with mpl.rc_context({"font.family": ["DejaVu Sans"], "font.size": 7.5, "svg.hashsalt": "edgemon"}):
        figure = Figure((WIDTH_IN, 1.1 + ROW_IN * len(pairs)), layout="constrained")
        axes = figure.add_subplot()
        for offset, name in ((-0.2, "before"), (0.2, "after")):
            rows = [number + offset for number in range(len(pairs))]
            alerts, alarms = ([getattr(one, name)[index] for one in pairs] for index in (0, 1))
            faint = 0.45 if name == "before" else 1.0
            said = "as it is" if name == "before" else "as tried"
            axes.barh(rows, alerts, 0.36, color=TONES[Tone.ALERT], alpha=faint, label=f"alerts, {said}")
            axes.barh(rows, alarms, 0.36, left=alerts, color=TONES[Tone.ALARM], alpha=faint, label=f"alarms, {said}")
        axes.set_yticks(range(len(pairs)), [clean(one.label) for one in pairs])
        axes.invert_yaxis()
        axes.set_xlabel("raised in a month of 30.44 days")
        axes.spines[["top", "right"]].set_visible(False)
        figure.legend(loc="outside upper center", ncols=2, frameon=False)
        canvas = FigureCanvasSVG(figure) if kind == "svg" else FigureCanvasAgg(figure)
        content = BytesIO()
        canvas.print_figure(content, format=kind, dpi=DPI, metadata={"Date": None} if kind == "svg" else {"Software": None})
    return content.getvalue()
