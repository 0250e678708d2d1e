"""Work in the background: offers."""
