"""Section sheets: tables of text or a workbook's, their columns and numbers, their rows as readings."""
