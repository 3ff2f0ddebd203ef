"""Whole workbooks as growers keep them: read, understood, given meanings by a mapping file, and made into records."""
