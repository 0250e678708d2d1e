"""Work in the background: letters."""
