"""Work in the background: reconcile."""
