"""The extension for LibreOffice Calc: it runs in the office's own Python, reads and writes blocks, and shows."""
