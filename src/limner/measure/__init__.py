"""Measures: points in, numbers with uncertainty out. No files, no printing."""
