"""Files to model values: `plant.toml`, `gateway.toml`, and every doubt an engineer would raise."""
