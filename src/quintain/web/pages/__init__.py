"""One file a page; each exposes ``router`` and, to stand in the navigation, ``NAV``."""
