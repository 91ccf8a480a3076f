"""Spin-ups of a flywheel and coast-downs: inertia, acceleration, windage, and what they come to."""
