"""
The science, one concept a file: arrays and floats in SI units in and out.

Nothing here touches a disk, a screen or a global, or knows a class of the floors above.
"""
