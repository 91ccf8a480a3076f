"""The parts of the motor's constants: typed points, fits that carry their errors, copper, repeats, joint figures."""
