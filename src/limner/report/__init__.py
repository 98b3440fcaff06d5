"""Reports: one result in; text, JSON, CSV or pictures out."""
