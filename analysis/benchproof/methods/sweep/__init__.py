"""The parts of a thrust sweep: points, curves, air reference, checks, figures, views."""
