"""Speed (``make bench``) and accuracy (``make validate``) of Quintain, measured side by side."""
