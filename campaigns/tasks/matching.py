"""Work in the background: matching."""
