"""What to move, where and how far: deviations turned into steps to be carried out with dividers and a brush."""

from limner.compare.corrections.plan import WHOLE, after, planned, with_plan

__all__ = ["WHOLE", "after", "planned", "with_plan"]
