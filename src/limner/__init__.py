"""limner: where a painted portrait departs from its reference, which way, and how far."""

__version__ = "0.1.0"
