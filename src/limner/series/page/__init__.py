"""A series as one page: the faces on a time line, both numbers, and what each photo says."""

from limner.series.page.build import series_page

__all__ = ["series_page"]
