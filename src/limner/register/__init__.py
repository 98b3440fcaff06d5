"""Registration: the painting's points as its pixels show them, and how far they can be believed."""

from limner.register.carried import Carried
from limner.register.carrying import carry

__all__ = ["Carried", "carry"]
