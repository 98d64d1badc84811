"""Levels to alarm states: limits, delays, silence, and the one transition table; pure."""
