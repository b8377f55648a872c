"""Quintain."""
