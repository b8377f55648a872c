"""Documents and figures made from finished results; nothing is computed here."""
