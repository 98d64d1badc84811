"""Doubts about limits on levels that a sensor can never deliver, because it sends spectra and no waveform."""

from edgemon.analysis.received import NO_ENVELOPE, NO_PEAK, UNKNOWABLE
from edgemon.model.level import Detector, LevelSpec
from edgemon.settings.levels import level_specs
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import LimitTable, PlantFile


def check_sends(file: PlantFile, report: Report) -> None:
    """Warn once for each limit that rests on what a spectrum does not hold."""
    spectra = {sensor.id for sensor in file.sensor if sensor.sends == "spectrum"}
    told: set[KeyPath] = set()
    for m, machine in enumerate(file.machine):
        for k, point in enumerate(machine.point):
            if point.sensor not in spectra:
                continue
            specs = level_specs(machine, point)
            own: KeyPath = ("machine", m, "point", k)
            rows = [((*own, "limit", i), limit) for i, limit in enumerate(point.limit)]
            rows += [(("machine", m, "limit", i), limit) for i, limit in enumerate(machine.limit)]
            for path, limit in rows:
                why = _unknowable(limit, specs)
                if why and path not in told:
                    told.add(path)
                    what = f'sensor "{shown(point.sensor)}" sends spectra, in which there is no {limit.level}: {why}'
                    hint = "judged only if the sensor sends it as a reading; else remove the limit, or set sends"
                    report.warning((*path, "level"), what, hint)


def _unknowable(limit: LimitTable, specs: tuple[LevelSpec, ...]) -> str:
    spec = next((spec for spec in specs if spec.name == limit.level), None)
    if spec is None:
        return UNKNOWABLE.get(limit.level, "")
    if spec.of_envelope:
        return NO_ENVELOPE
    return "" if spec.detector is Detector.RMS else NO_PEAK
