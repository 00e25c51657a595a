"""What a fill leaves in a workbook, and what it finds there of earlier fills."""
