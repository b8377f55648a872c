"""Whatever a file says before its numbers is kept, for every format."""

from __future__ import annotations

from pathlib import Path

import pytest

from quintain.readers import registry
from reader_samples import SAMPLES, Sample

SAID = {
    "records.npy": ["'descr':", "('force_N', '<f4')"],
    "archive.npz": ["force_N: float64 (300,)"],
    "text.uff": ["25-Nov-26 09:51:40", "m/s^2"],
    "binary.unv": ["25-Nov-26 09:51:40", "m/s^2"],
    "numbers.bin": ["[[channels]]"],
    "analog.c3d": ["ANALOG:LABELS", "rate: "],
    "segments.tdms": ["wf_increment=0.002", "unit_string=m/s^2"],
    "compressed.mat": ["MATLAB 5.0 MAT-file", "fs: "],
    "version4.mat": ["time_s: float64"],
    "group.h5": ["/rig/force: float64 (300,) units=N"],
    "groups.mf4": ["MDF 4.10", "channel force [N]"],
    "test.mme": ["Laboratory name", "Channel code", "Sampling interval        :0.002"],
    "table.parquet": ["acc: float", "unit: 'm/s^2'"],
    "table.feather": ["acc: float", "unit: 'm/s^2'"],
    "semicolon.csv": ["made for a test", "t [s];Kraft [N];acc [m/s^2]"],
    "scope.csv": ['"Source","CH1"', '"Horizontal Offset",-0.1,s'],
    "float.wav": ["'fmt ' ", "rate 8000"],
    "segment.lvm": ["Writer_Version\t2", "Delta_X\t0,000500\t0,000500"],
}


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda s: s.name)
def test_header_is_kept(sample: Sample, tmp_path: Path) -> None:
    path = tmp_path / sample.name
    sample.write(path)
    header = registry.read(path, **sample.settings).header
    for words in SAID[sample.name]:
        assert words in header


def test_words_of_sound_files_and_of_skipped_bytes(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    next(s for s in SAMPLES if s.reader == "wav").write(path)
    content = path.read_bytes()
    chunk = b"LIST" + (18).to_bytes(4, "little") + b"INFOICMT\x06\0\0\0cell 7"
    path.write_bytes(content[:12] + chunk + content[12:])
    assert "cell 7" in registry.read(path).header
    (tmp_path / "a.bin").write_bytes(b"cell 8\0\0" + bytes(8))
    (tmp_path / "a.toml").write_text(
        'rate = 5\nheader = 8\n[[channels]]\nname = "force"\ntype = "int16"\nunit = "N"\n'
    )
    assert "cell 8" in registry.read(tmp_path / "a.bin", layout=tmp_path / "a.toml").header
