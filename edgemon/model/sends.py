"""What a sensor sends of vibration, and what that leaves unknown; in words for people."""

from enum import StrEnum


class Sends(StrEnum):
    """Decides what can be known at all."""

    WAVEFORM = "waveform"
    SPECTRUM = "spectrum"
    LEVELS = "levels"

    @property
    def note(self) -> str:
        """Say it in two words; empty for a waveform, from which everything follows."""
        return {"waveform": "", "spectrum": "spectra only", "levels": "levels only"}[self.value]

    @property
    def unknown(self) -> str:
        """Say what cannot be known; empty for a waveform."""
        return {
            "waveform": "",
            "spectrum": "the sensor sends spectra only: no peaks, no crest factor or kurtosis, no envelope",
            "levels": "the sensor sends levels only: no spectrum, so no cause can be told",
        }[self.value]
