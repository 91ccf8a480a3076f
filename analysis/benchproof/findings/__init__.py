"""Across tests, samples and campaigns: repeats, samples, the model."""
