"""Spectra and machine facts to findings; pure. Not furnished yet."""
