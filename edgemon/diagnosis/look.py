"""One record looked at with the machine's facts: spectra and lines that several patterns need, computed once."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.analysis.speed import NEXT, ShaftSpeed
from edgemon.diagnosis.advice import ADVICE
from edgemon.diagnosis.cyclic import EnvelopeSpectra, averaged_spectra, envelope_spectra
from edgemon.diagnosis.evidence import Map
from edgemon.diagnosis.families import lines_found
from edgemon.diagnosis.frequencies import BearingOrders, bearing_orders
from edgemon.diagnosis.record import MachineFacts, Record
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.units import Quantity

PIECE_TURNS = 64
"""Turns of the shaft in a piece of a record: lines a quarter of a percent of a race's rhythm apart, where distances that vary
by 1 to 2 % and add up make it 0.1 to 0.3 % wide. Source of that: as of `averaged_spectra`."""
FEWEST_PIECES = 3
"""Of which a mean is worth its time. House choice."""
UNCALIBRATED = 0.45
"""Most confidence in a fault of level where sizes mean nothing and no baseline exists: below what makes a verdict."""
SEVERE_M_S = 1.4e-3
"""Velocity r.m.s. at which a fault of level is as likely as not: end of zone A, ISO 20816-3:2022 group 2 rigid, as quoted
publicly. A new machine lies below it."""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """A line at a multiple of shaft speed in the velocity spectrum of one channel."""

    order: float
    hz: float
    velocity: float
    """R.m.s. of the line, m/s."""
    above: float
    """Times the median of the lines around it."""

    @property
    def stands_out(self) -> bool:
        """Say whether it is more than noise."""
        return self.above >= NEXT


class Look:
    """A record, its machine's facts and what follows from both; `speed` is None where no speed is known."""

    def __init__(
        self,
        record: Record,
        facts: MachineFacts,
        speed: ShaftSpeed | None,
        before: "Sequence[Look]" = (),
        clock: Record | None = None,
        places: int = 1,
    ) -> None:
        self.record = record
        self.facts = facts
        self.speed = speed
        self.speed_confidence: float | None = None
        """How sure the speed is, 0 to 1, where the chance of error is known; what rests on its multiples is no surer."""
        self.is_by_envelopes = False
        """The speed is that of the rhythm of the envelopes, against what lines of the plain spectrum told."""
        self.clock = clock or record
        """The whole record that its channels are of: those of one share a clock, and have phases against each other."""
        self.places = places
        """Places of the machine that are looked at, this one among them: more looks, more chances to be fooled."""
        self.named_from: float | None = None
        """Least depth of an envelope's rhythm that would be named as a defect of a bearing, once that was looked for."""
        self.unnamed: set[str] = set()
        """Parts of bearings whose lines are beyond chance and not faint, by what their rhythm is called."""
        self._lines: dict[tuple[int, float, float], OrderLine | None] = {}
        self.before = tuple(before)
        """The same machine in its baseline; empty where there is no such record."""

    @property
    def part(self) -> str:
        """On which side of the coupling it sits; empty where that is not known."""
        return self.record.channels[0].part

    @property
    def end(self) -> str:
        """Which end of its part it sits at; empty where that is not known."""
        return self.record.channels[0].end

    @property
    def name(self) -> str:
        """The names of its channels, for people."""
        return ", ".join(channel.name for channel in self.record.channels)

    def channel_of(self, name: str) -> int:
        """Give the number of a channel by its name."""
        return next(i for i, channel in enumerate(self.record.channels) if channel.name == name)

    def trusts(self, channel: int) -> bool:
        """Say whether the sizes of a channel mean something."""
        return self.record.channels[channel].calibrated

    @cached_property
    def bearings(self) -> tuple[tuple[str, BearingOrders], ...]:
        """Name and kinematics of each bearing that is known."""
        return tuple((name, bearing_orders(bearing)) for name, bearing in self.facts.bearings)

    @cached_property
    def envelopes(self) -> tuple[tuple[EnvelopeSpectra, Map], ...]:
        """Envelope spectra of each channel and the surprise of their lines; none without a speed and a bearing."""
        if self.speed is None or not self.bearings:
            return ()
        top = max(orders.inner for _, orders in self.bearings) * self.speed.hz
        spectra = [envelope_spectra(row, self.record.fs_hz, 4.0 * top, 1.3 * top) for row in self.record.samples]
        return tuple((one, lines_found(one, self.speed.hz)) for one in spectra)

    @cached_property
    def averaged(self) -> tuple[EnvelopeSpectra, ...]:
        """Mean envelope spectra of pieces of each channel; none where the record holds too few."""
        if self.speed is None or not self.bearings:
            return ()
        pieces = int(self.speed.hz / self.record.line_hz / PIECE_TURNS)
        if pieces < FEWEST_PIECES:
            return ()
        top = max(orders.inner for _, orders in self.bearings) * self.speed.hz
        return tuple(averaged_spectra(row, self.record.fs_hz, 4.0 * top, 1.3 * top, pieces) for row in self.record.samples)

    @cached_property
    def _acceleration(self) -> NDArray[np.float64]:
        record = self.record
        if record.lines is None:
            rows = [amplitude_spectrum(row, record.fs_hz, record.quantity).amplitude for row in record.samples]
            found = np.array(rows, np.float64)
        else:
            found = record.lines.copy()
        if self.record.quantity is Quantity.VELOCITY:
            found *= 2.0 * np.pi * self.frequencies
        return found

    @cached_property
    def frequencies(self) -> NDArray[np.float64]:
        """Frequency of each line, Hz."""
        return np.asarray(self.record.line_hz * np.arange(self.record.n_lines))

    @cached_property
    def velocity(self) -> NDArray[np.float64]:
        """R.m.s. velocity of each line, m/s, shape (channels, lines)."""
        found = self._acceleration.copy()
        found[:, 1:] /= 2.0 * np.pi * self.frequencies[1:]
        found[:, 0] = 0.0
        return found

    def band_rms(self, channel: int, low_hz: float, high_hz: float, velocity: bool = True) -> float:
        """R.m.s. of the lines between two frequencies, m/s or m/s2."""
        inside = (self.frequencies >= low_hz) & (self.frequencies < high_hz)
        lines = (self.velocity if velocity else self._acceleration)[channel, inside]
        return float(np.sqrt(np.sum(lines**2) / 1.5))  # noise bandwidth of the Hann window, lines

    def overall(self, channel: int) -> float:
        """R.m.s. velocity from below shaft speed to 1 kHz, m/s."""
        low = 10.0 if self.speed is None else min(10.0, 0.35 * self.speed.hz)
        return self.band_rms(channel, max(low, 4.0 * self.record.line_hz), 1000.0)

    def line(self, channel: int, hz: float, slack: float = 0.0) -> OrderLine | None:
        """Look for a line at a frequency, at most 1.5 lines off and a slack in lines; None beyond the record's reach."""
        if (channel, hz, slack) not in self._lines:
            self._lines[channel, hz, slack] = self._line(channel, hz, slack)
        return self._lines[channel, hz, slack]

    def _line(self, channel: int, hz: float, slack: float) -> OrderLine | None:
        line_hz, row = self.record.line_hz, self.velocity[channel]
        around = self.speed.hz if self.speed is not None else hz
        at, reach = hz / line_hz, max(1.5, 0.002 * hz / line_hz) + slack
        first, last = max(3, int(np.ceil(at - reach))), int(np.floor(at + reach))
        if last >= row.size - 3 or last < first or hz > 0.45 * self.record.fs_hz:
            return None
        best = first + int(row[first : last + 1].argmax())
        wide = max(12, int(0.35 * around / line_hz))
        beside = row[max(1, best - wide) : best + wide + 1]
        surroundings = float(np.partition(beside, beside.size // 2)[beside.size // 2])  # a median without its overhead
        order = hz / self.speed.hz if self.speed is not None else 0.0
        if row[best] < max(row[best - 1], row[best + 1]):
            return OrderLine(hz / around, best * line_hz, surroundings, 1.0)  # the flank of a line that stands elsewhere
        energy = float(np.sqrt(np.sum(row[best - 1 : best + 2] ** 2) / 1.5))
        return OrderLine(order, best * line_hz, energy, float(row[best]) / max(surroundings, np.finfo(float).tiny))

    def order(self, channel: int, order: float) -> OrderLine | None:
        """Look for a line at a multiple of shaft speed; None where speed is not known or it lies beyond the record."""
        return None if self.speed is None else self.line(channel, order * self.speed.hz)

    def severity(self, channel: int) -> float:
        """Judge how likely the level of a channel is a fault's, 0 to 1; a ceiling where sizes cannot be trusted."""
        if not self.record.channels[channel].calibrated:
            return UNCALIBRATED
        odds = (self.overall(channel) / SEVERE_M_S) ** 4  # half the velocity: a sixteenth of the odds
        return odds / (odds + 1.0)

    @cached_property
    def radial(self) -> tuple[int, ...]:
        """Channels that are not known to be axial."""
        return tuple(i for i, channel in enumerate(self.record.channels) if channel.direction != "axial")

    @cached_property
    def axial(self) -> tuple[int, ...]:
        """Channels that are known to be axial."""
        return tuple(i for i, channel in enumerate(self.record.channels) if channel.direction == "axial")

    def evidence(self, channel: int, found: OrderLine, text: str) -> Evidence:
        """Make evidence of one line."""
        trusted = self.record.channels[channel].calibrated
        return Evidence(
            text,
            frequency_hz=found.hz,
            order=found.order,
            amplitude=found.velocity if trusted else None,
            unit="m/s" if trusted else "",
            above_surroundings=found.above,
            direction=self.record.channels[channel].direction,
        )

    def finding(
        self, fault: Fault, confidence: float, channel: int, evidence: tuple[Evidence, ...], detail: str = ""
    ) -> Finding:
        """Make a finding with the fixed words of its fault."""
        advice = ADVICE[fault]
        sure = float(min(max(confidence, 0.0), 1.0))
        name = self.record.channels[channel].name
        return Finding(fault, sure, name, evidence, advice.rule, advice.source, advice.alternatives, advice.actions, detail)


def soft(value: float, middle: float, width: float) -> float:
    """Give 0.5 at `middle`, rising to 1 over a few `width`: a threshold without an edge."""
    return float(1.0 / (1.0 + np.exp(-np.clip((value - middle) / width, -60.0, 60.0))))
