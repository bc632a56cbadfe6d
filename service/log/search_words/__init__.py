"""Words and marks kept of each row, for the search: written with the row, counted anew where they are doubted."""
