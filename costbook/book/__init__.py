"""Her workbook: what its cells mean, how its tabs look, and the records read from it."""
