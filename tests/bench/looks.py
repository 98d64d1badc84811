"""What a look at a stored capture of 65,536 samples costs: `python -m tests.bench.looks`; figures, no verdicts."""

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from edgemon.api.wire import Look, to_json
from edgemon.engine.look import Material, look_at_waveform, of_capture
from edgemon.engine.look_spectrum import look_at_envelope, look_at_spectrum
from edgemon.engine.memory import setting_of
from edgemon.model.look import EnvelopeRequest, SpectrumRequest, WaveformRequest
from tests.support.plants import DRIVE_END, gateway, plant
from tests.support.stored import BEGIN, capture

SAMPLES, FS_HZ, RUNS = 65_536, 25_600.0, 15
LOOKS: dict[str, Callable[[Material], Look]] = {
    "spectrum": lambda material: look_at_spectrum(material, SpectrumRequest()),
    "spectrum of 25,600 lines": lambda material: look_at_spectrum(material, SpectrumRequest(lines=25_600)),
    "zoom": lambda material: look_at_spectrum(material, SpectrumRequest(zoom_low_hz=40.0, zoom_high_hz=60.0)),
    "envelope": lambda material: look_at_envelope(material, EnvelopeRequest()),
    "envelope, whitened": lambda material: look_at_envelope(material, EnvelopeRequest(whitened=True, squared=True)),
    "envelope, averaged out": lambda material: look_at_envelope(material, EnvelopeRequest(separation="synchronous")),
    "envelope, predicted out": lambda material: look_at_envelope(material, EnvelopeRequest(separation="prediction")),
    "orders over shaft angle": lambda material: look_at_spectrum(material, SpectrumRequest(axis="orders", over_angle=True)),
    "waveform": lambda material: look_at_waveform(material, WaveformRequest()),
    "velocity waveform": lambda material: look_at_waveform(material, WaveformRequest("velocity")),
}


def main() -> None:
    """Print milliseconds and bytes of each look, from the capture to its document."""
    wave = 3000.0 * np.cos(2.0 * np.pi * 49.7 * np.arange(SAMPLES) / FS_HZ)
    wave += 500.0 * np.random.default_rng(1).standard_normal(SAMPLES)
    counts = wave.astype(np.int16)
    made = replace(capture(BEGIN, 100.0, x=counts, z=counts), fs_hz=FS_HZ)
    setting = setting_of(plant(), gateway())
    for name, look in LOOKS.items():
        costs = []
        size = 0
        for _ in range(RUNS):
            begin = time.process_time()
            size = len(to_json(look(of_capture(setting, DRIVE_END, made))))
            costs.append(time.process_time() - begin)
        print(f"{name:26} {1e3 * float(np.median(costs)):6.1f} ms {size:8} bytes")


if __name__ == "__main__":
    main()
