"""What the lab wrote down: models, YAML with places, logs into SI channels, units."""
