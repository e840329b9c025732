"""The invented workshop of the demo: data, sample papers, and the workbooks made new."""
