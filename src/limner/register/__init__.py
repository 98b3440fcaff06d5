"""Registration: the painting's points as its pixels show them, and how far they can be believed."""
