"""How the tables of a lab came to be what they are, one step a file below ``versions``."""
