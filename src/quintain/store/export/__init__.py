"""Files that leave the lab: tidy tables with their codebook, and whole packages."""
