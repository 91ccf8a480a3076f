"""The analysis notebooks, and what they call: the opened bench and its display objects."""
