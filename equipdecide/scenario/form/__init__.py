"""A scenario as a workbook to fill in, and read back."""
