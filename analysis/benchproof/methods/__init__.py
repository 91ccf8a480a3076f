"""One module a test: physics and statistics, arrays in, quantities and curves out."""
