"""Comparison of two measured faces: deviations, calls, order of mending, canons."""
