"""What the bench can know: instruments, error statements, calibrations, air, gravity."""
