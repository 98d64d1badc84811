"""Chooses implementations, starts and stops tasks."""
