"""Proving: known errors in, recovered errors out, through the front door."""
