"""Levels over time: like conditions, robust trends, changes, baselines and forecasts; pure, numpy only."""
