"""Who may do what: one concept a file."""
