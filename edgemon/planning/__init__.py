"""Before a sensor is mounted: how long its battery lasts, and whether its radio link holds; pure arithmetic."""
