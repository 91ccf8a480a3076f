"""The parts of the throttle step: finding steps in a log, fitting each, judging them, showing them."""
