"""Captures to levels and spectra, and whether they are fit to use; pure."""
