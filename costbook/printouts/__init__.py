"""What the tool shows: its own tabs, figures for other programs, and tables."""
