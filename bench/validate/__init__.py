"""Accuracy of the ringing correction over pulses, rigs and recorders (``make validate``)."""
