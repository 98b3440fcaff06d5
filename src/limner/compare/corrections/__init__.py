"""What to move, where and how far: deviations turned into steps to be carried out with dividers and a brush."""

from limner.compare.corrections.plan import PLACED, WHOLE, after, planned, with_plan

__all__ = ["PLACED", "WHOLE", "after", "planned", "with_plan"]
