"""Workbooks of people's own making: recognised, described by a layout file, read by it."""
