"""The lab's memory and engine: running notebooks, staleness, putting pages in place."""
