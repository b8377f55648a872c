"""From the bytes of a recording to traces in SI units: a registry and one file a format."""
