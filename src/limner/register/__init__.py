"""Registration: the painting's points as its pixels show them, and how far they can be believed."""

from limner.register.carried import Carried
from limner.register.carrying import carry
from limner.register.headcarry import carry_head

__all__ = ["Carried", "carry", "carry_head"]
