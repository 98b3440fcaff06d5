"""The series: one reference, the photos of a canvas as it grew, and whether it is nearer than last time."""
