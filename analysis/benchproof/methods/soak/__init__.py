"""The parts of the heat soak: what the motor loses, two thermal nodes, when a run says nothing, figures, views."""
