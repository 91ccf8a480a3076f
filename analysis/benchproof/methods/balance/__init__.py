"""The parts of the vibration test: turns by their marks, orders, influence of trial masses, balance quality, views."""
