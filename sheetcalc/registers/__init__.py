"""Many batches in one workbook: gathered, matched with their lines, compared, asked for a new card."""
