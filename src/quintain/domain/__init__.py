"""What the lab talks about: frozen values with names, units and history, and no algorithm."""
