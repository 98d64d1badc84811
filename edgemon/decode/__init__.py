"""Bytes to readings and captures: one file a payload format; pure."""
