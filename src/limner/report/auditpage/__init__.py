"""The audit as one page that looks instead of reads: self-contained, and nothing of it comes from anywhere else."""

from limner.report.auditpage.build import audit_page

__all__ = ["audit_page"]
