"""The lab on disk: its database, the original bytes, and what may be deleted at any time."""
