"""Field sheets in: plain files of a folder, read cell by cell, checked across rows, and made into facts."""
