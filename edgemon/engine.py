"""Joins decode, analysis, limits and alarm states; pure."""
