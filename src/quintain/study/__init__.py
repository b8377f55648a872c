"""Statistics over many results: arrays in, small dataclasses out."""
