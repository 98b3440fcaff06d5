"""The classical canons as tables: definitions, studies, what was observed in people; and how they are taken."""
