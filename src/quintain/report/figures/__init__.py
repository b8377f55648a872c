"""Figures: each function draws finished results."""
