"""
Ring-downs recorded by others.

Drop-table shocks: High-Rate-SHM-Working-Group Dataset-5 @1bbfcf1 and Dataset-11 @364cb81, CC BY-SA 4.0; the
frequencies at which the boards ring were read from spectra of the same files (derived here). Hammer taps:
ladisk/lvm_read @a20623c, MIT, 1024 Hz, taps near rows 0 and 8276.
"""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.ring_down import identify_ring_down
from quintain.numerics.taps import combine_taps, find_taps
from shared_data import shared


def strongest(trace, rate):
    """Mode of largest amplitude in the one decay of a recording, with its uncertainty."""
    (decay,) = find_taps(trace, rate)
    found = identify_ring_down(trace[decay.first : decay.stop], rate)
    i = int(np.argmax(found.amplitude / found.decay_rate**0.5))  # by energy
    return found.natural_frequency[i], found.u_natural_frequency[i]


def test_board_of_the_first_drop_table():
    rows = [line.split(",") for line in shared("shocks", "Test_001.lvm").read_text("latin-1").splitlines()]
    begin = next(i for i, row in enumerate(rows) if row[0] == "X_Value") + 1
    board = np.array([float(row[2]) for row in rows[begin:] if len(row) > 2 and row[2]])
    frequency, u = strongest(board, 51200)
    assert 4160 - u < frequency < 4180 + u
    assert u < 100


def test_board_whose_record_is_clipped():
    taps = []
    for name in ("acc_pcb_a0.txt", "acc_pcb_a1.txt"):
        board = np.loadtxt(shared("shocks", "plain_text", name))[:, 1]
        (decay,) = find_taps(board, 50000)
        assert decay.first > np.flatnonzero(np.abs(board) > 546)[-1]
        taps.append(identify_ring_down(board[decay.first : decay.stop], 50000))
    joint = combine_taps(taps)
    assert abs(joint.natural_frequency[0] - 804) < 2 * joint.u_natural_frequency[0]
    assert joint.u_natural_frequency[0] < 2


def test_board_of_the_second_drop_table():
    lines = shared("shocks", "no_header", "shock_07.lvm").read_text().splitlines()
    board = np.array([float(line.split("\t")[2]) for line in lines])
    (decay,) = find_taps(board, 200000)
    found = identify_ring_down(board[decay.first : decay.stop], 200000)
    frequency, u = found.natural_frequency[0], found.u_natural_frequency[0]
    assert 722 - u < frequency < 723 + u
    assert u < 10  # the frequency really moves from 724 to 721 Hz as it dies away
    assert "mode-drifts" in found.flags


def test_two_hammer_taps():
    lines = shared("formats", "lvm", "long_single_header_multi_ch.lvm").read_text("latin-1").splitlines()
    response = []
    for line in lines:
        cells = line.split("\t")
        if len(cells) >= 4 and cells[0] == "" and cells[1].replace(".", "").replace("-", "").isdigit():
            response.append(float(cells[3]))
    rate = 1 / 0.000977
    taps = find_taps(np.array(response), rate)
    assert len(taps) == 2
    assert 0 < taps[0].first < 200
    assert 8276 < taps[1].first < 8300
    found = [identify_ring_down(np.array(response)[t.first : t.stop], rate) for t in taps]
    # the same structure tapped twice rings alike: to 0.1 %
    assert found[0].natural_frequency == pytest.approx(found[1].natural_frequency, rel=1e-3)
