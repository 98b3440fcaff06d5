"""The page on which points are placed by hand."""

from limner.report.pointspage.build import points_page

__all__ = ["points_page"]
