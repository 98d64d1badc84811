"""Simulated plant: physical machines, sensors and traffic. An independent witness: shares no analysis code."""
