"""Work in the background: reports."""
